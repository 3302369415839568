//go:build unix

package report

import (
	"io/fs"
	"syscall"
)

// inode is the file's number on its disk: a file that was replaced has another.
func inode(info fs.FileInfo) uint64 {
	if s, ok := info.Sys().(*syscall.Stat_t); ok {
		return uint64(s.Ino)
	}
	return 0
}
