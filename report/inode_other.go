//go:build !unix

package report

import "io/fs"

// inode is not told by this system; size and time of change must do.
func inode(fs.FileInfo) uint64 { return 0 }
