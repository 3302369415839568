package store

import (
	"bytes"
	"hash/crc64"
	"slices"
	"strconv"
	"strings"
)

// The file of hashes has one line a file: SHA-256, size, time of change in
// nanoseconds since 1970, inode, quoted path, and the CRC-64 of all that before
// the last space.
//
// A zip archive has a line `archive!/` with the hash of the names in it, and one for each file in it, `archive!/file`, with the hash of
// the file (zeros before it was first read) and its size, and time of change and inode of the archive.

func formatHashes(files map[string]fileHash) []byte {
	paths := make([]string, 0, len(files))
	for rel := range files {
		paths = append(paths, rel)
	}
	slices.Sort(paths)
	b := make([]byte, 0, 192*len(paths))
	for _, rel := range paths {
		b = appendHash(b, rel, files[rel])
	}
	return b
}

func appendHash(b []byte, rel string, e fileHash) []byte {
	start := len(b)
	b = appendHex(b, e.hash[:])
	b = append(b, ' ')
	b = strconv.AppendInt(b, e.size, 10)
	b = append(b, ' ')
	b = strconv.AppendInt(b, e.mtime, 10)
	b = append(b, ' ')
	b = strconv.AppendUint(b, e.inode, 10)
	b = append(b, ' ')
	b = strconv.AppendQuote(b, rel)
	sum := crc64.Checksum(b[start:], crcTable)
	b = append(b, ' ')
	b = appendSum(b, sum)
	return append(b, '\n')
}

// parseHashes takes the good lines and counts the others.
func parseHashes(b []byte) (files map[string]fileHash, bad int) {
	files = make(map[string]fileHash, bytes.Count(b, []byte{'\n'}))
	text := string(b)
	for text != "" {
		line, rest, _ := strings.Cut(text, "\n")
		text = rest
		if rel, e, ok := parseHash(line); ok {
			files[rel] = e
		} else {
			bad++
		}
	}
	return files, bad
}

func parseHash(line string) (rel string, e fileHash, ok bool) {
	const sumLength = 1 + 16
	if len(line) < 64+sumLength {
		return "", e, false
	}
	body, end := line[:len(line)-sumLength], line[len(line)-sumLength:]
	var sum [8]byte
	if end[0] != ' ' || !readHex(sum[:], end[1:]) || crcOf(body) != be64(sum) || !readHex(e.hash[:], body[:64]) {
		return "", e, false
	}
	before, rest, _ := strings.Cut(body[64:], " ")
	size, rest, _ := strings.Cut(rest, " ")
	mtime, rest, _ := strings.Cut(rest, " ")
	number, quoted, _ := strings.Cut(rest, " ")
	var errs [4]error
	e.size, errs[0] = strconv.ParseInt(size, 10, 64)
	e.mtime, errs[1] = strconv.ParseInt(mtime, 10, 64)
	e.inode, errs[2] = strconv.ParseUint(number, 10, 64)
	rel, errs[3] = strconv.Unquote(quoted)
	if before != "" || e.size < 0 || errs != [4]error{} {
		return "", e, false
	}
	return rel, e, true
}
