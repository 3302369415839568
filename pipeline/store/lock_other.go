//go:build !(darwin || dragonfly || freebsd || linux || netbsd || openbsd || windows)

package store

import (
	"errors"
	"os"
)

// lockFile refuses: on this system there is no lock that ends with its process.
func lockFile(*os.File) error {
	return errors.New("this system has no file lock that ends with its process")
}
