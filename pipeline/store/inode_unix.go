//go:build unix

package store

import (
	"io/fs"
	"syscall"
)

// inode is the file's number on its file system; 0 where it is unknown.
func inode(info fs.FileInfo) uint64 {
	if st, ok := info.Sys().(*syscall.Stat_t); ok {
		return uint64(st.Ino)
	}
	return 0
}
