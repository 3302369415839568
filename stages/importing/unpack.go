package importing

import (
	"archive/zip"
	"bytes"
	"compress/gzip"
	"errors"
	"fmt"
	"io"
	"strings"
)

// Limits for what is unpacked: compressed text of numbers is seldom smaller than a hundredth of itself.
const (
	freeUnpacked  = 4 << 20 // bytes that anything may unpack to
	mostRatio     = 400     // and beyond that, times its size
	mostUnpacked  = 2 << 30
	mostZipMember = 100_000
)

var (
	gzipMagic = []byte{0x1F, 0x8B}
	zipMagic  = []byte("PK\x03\x04")
	hdf5Magic = []byte("\x89HDF\r\n\x1a\n")
)

// unpack gives the bytes of a file as they were before they were compressed. path says which file they are of; behind `!/` it names the member of an archive.
//
// Errors are *LineError: an archive that is broken, or unpacks to more than 4 MB and 400 times its size, or to more than 2 GB; a member that is not there; a file of a format
// that only looks like an archive.
func unpack(data []byte, path string) ([]byte, error) {
	if bytes.HasPrefix(data, hdf5Magic) {
		return nil, &LineError{0, "an HDF5 file", "text, JCAMP-DX or canSAS XML", "export the curves as text or XML"}
	}
	if bytes.HasPrefix(data, zipMagic) {
		_, member, ok := strings.Cut(path, "!/")
		if !ok && isBook(data) {
			return data, nil
		}
		if !ok {
			return nil, wholeZip(data)
		}
		var err error
		if data, err = ZipMember(data, member); err != nil {
			return nil, err
		}
	}
	if !bytes.HasPrefix(data, gzipMagic) {
		return data, nil
	}
	z, err := gzip.NewReader(bytes.NewReader(data))
	if err != nil {
		return nil, &LineError{0, "a gzip file that is broken (" + err.Error() + ")", "a whole one", "copy it again"}
	}
	return readBounded(z, len(data), "a gzip file")
}

// readBounded reads what unpacks from so many bytes.
func readBounded(r io.Reader, size int, what string) ([]byte, error) {
	limit := int64(min(freeUnpacked+mostRatio*size, mostUnpacked))
	out, err := io.ReadAll(io.LimitReader(r, limit+1))
	switch {
	case int64(len(out)) > limit:
		return nil, &LineError{0, fmt.Sprintf("%s of %d bytes that unpacks to more than %d", what, size, limit), "at most 400 times its size, and 2 GB", "unpack it yourself and look at it"}
	case errors.Is(err, io.ErrUnexpectedEOF):
		return nil, &LineError{0, what + " that breaks off", "a whole one", "copy it again"}
	case err != nil:
		return nil, &LineError{0, what + " that is broken (" + err.Error() + ")", "a whole one", "copy it again"}
	}
	return out, nil
}

// wholeZip refuses an archive of which no member is named.
func wholeZip(data []byte) error {
	names, err := ZipMembers(data)
	if err != nil {
		return err
	}
	return &LineError{0, "a zip archive with " + count(len(names), "file"), "the name of a member behind it", "write `archive.zip!/" + shortKeys(names) + "` under `files`"}
}

// ZipMembers lists the files in a zip archive by name, sorted as there. Names that would lead out of the archive (`../x`, `/x`, `a\b`) are refused.
func ZipMembers(data []byte) ([]string, error) {
	r, err := openZip(data)
	if err != nil {
		return nil, err
	}
	var out []string
	for _, f := range r.File {
		if strings.HasSuffix(f.Name, "/") {
			continue
		}
		if !safeMember(f.Name) {
			return nil, &LineError{0, fmt.Sprintf("a zip archive with a member %q", f.Name), "names within the archive", "pack it again with plain names"}
		}
		out = append(out, f.Name)
	}
	return out, nil
}

// ZipMember gives the bytes of one file in a zip archive.
func ZipMember(data []byte, name string) ([]byte, error) {
	r, err := openZip(data)
	if err != nil {
		return nil, err
	}
	if !safeMember(name) {
		return nil, &LineError{0, fmt.Sprintf("a member %q", name), "a name within the archive", "write it without ./, ../ and \\"}
	}
	for _, f := range r.File {
		if f.Name != name || !f.Mode().IsRegular() {
			continue
		}
		m, err := f.Open()
		if err != nil {
			return nil, &LineError{0, fmt.Sprintf("a member %q that cannot be read (%v)", name, err), "a plain or deflated file", "pack the archive again"}
		}
		return readBounded(m, int(min(f.CompressedSize64, uint64(len(data)))), fmt.Sprintf("the member %q", name))
	}
	return nil, &LineError{0, fmt.Sprintf("no file %q in the archive", name), "one of its files", "correct the name behind `!/`"}
}

func openZip(data []byte) (*zip.Reader, error) {
	r, err := zip.NewReader(bytes.NewReader(data), int64(len(data)))
	if err != nil && !errors.Is(err, zip.ErrInsecurePath) {
		return nil, &LineError{0, "a zip archive that is broken (" + err.Error() + ")", "a whole one", "copy it again"}
	}
	if len(r.File) > mostZipMember {
		return nil, &LineError{0, "a zip archive of " + count(len(r.File), "file"), "at most " + itoa(mostZipMember), "pack fewer into one archive"}
	}
	return r, nil
}

func safeMember(name string) bool {
	if name == "" || strings.Contains(name, `\`) || strings.HasPrefix(name, "/") {
		return false
	}
	for e := range strings.SplitSeq(name, "/") {
		if e == "" || e == "." || e == ".." {
			return false
		}
	}
	return true
}
