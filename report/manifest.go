package report

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"io/fs"
	"os"
	"path/filepath"

	"fascicle/pipeline"
)

// formatVersion goes up whenever this package writes something else from the same outcome: every report is then made anew.
const formatVersion = "report 5"

// manifest records what stands in out/ and from what it was made.
type manifest struct {
	Digest string         `json:"digest"`
	Files  []manifestFile `json:"files"`
}

// manifestFile is a file as it was left: if its stamp is still the same, so is its content.
type manifestFile struct {
	Path   string `json:"path"` // below out/, with slashes
	SHA256 string `json:"sha256"`
	stamp
}

// stamp is what tells, without opening a file, that it was not touched.
type stamp struct {
	Size  int64  `json:"size"`
	Mtime int64  `json:"mtime"` // nanoseconds
	Inode uint64 `json:"inode"`
}

func stampOf(info fs.FileInfo) stamp {
	return stamp{info.Size(), info.ModTime().UnixNano(), inode(info)}
}

func manifestPath(dir string) string { return filepath.Join(dir, pipeline.StateDir, "out.json") }

// readManifest gives nil when there is none that can be read: everything is then compared by content.
func readManifest(dir string) *manifest {
	data, err := os.ReadFile(manifestPath(dir))
	if err != nil {
		return nil
	}
	m := &manifest{}
	if json.Unmarshal(data, m) != nil {
		return nil
	}
	return m
}

func writeManifest(dir string, m *manifest) error {
	data, err := json.Marshal(m)
	if err != nil {
		return err
	}
	path := manifestPath(dir)
	if err := os.MkdirAll(filepath.Dir(path), 0o777); err != nil {
		return err
	}
	f, err := os.OpenFile(path+".part", os.O_WRONLY|os.O_CREATE|os.O_TRUNC, 0o666) // one run at a time holds the study's lock
	if err != nil {
		return err
	}
	_, err = f.Write(data)
	if e := f.Close(); err == nil {
		err = e
	}
	if err == nil {
		err = os.Rename(f.Name(), path)
	}
	if err != nil {
		_ = os.Remove(f.Name())
	}
	return err
}

// digest is what out/ is made from: the outcome and the code that draws it. "" when the outcome does not say.
func digest(o *pipeline.Outcome) string {
	if o.Digest == "" {
		return ""
	}
	sum := sha256.Sum256([]byte(formatVersion + "\n" + pipeline.Program + "\n" + o.Digest + "\n"))
	return hex.EncodeToString(sum[:])
}
