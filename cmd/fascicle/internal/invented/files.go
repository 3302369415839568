package invented

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
)

// ErrNotEmpty is returned when there is already something in the folder that a study is to be written to.
var ErrNotEmpty = errors.New("is not empty; name a new folder, or empty this one first")

// File is one file of the study, its name relative to the study's folder and slash separated.
type File struct {
	Name string
	Data []byte
}

// Write puts the files of a study into dir, which is made when it does not exist. A folder with anything in it is refused with ErrNotEmpty.
func Write(ctx context.Context, dir string, files []File) error {
	switch entries, err := os.ReadDir(dir); {
	case errors.Is(err, fs.ErrNotExist):
	case err != nil:
		return err
	case len(entries) > 0:
		return fmt.Errorf("folder %s %w", dir, ErrNotEmpty)
	}
	for _, f := range files {
		if err := ctx.Err(); err != nil {
			return err
		}
		name := filepath.Join(dir, filepath.FromSlash(f.Name))
		if err := os.MkdirAll(filepath.Dir(name), 0o777); err != nil {
			return err
		}
		if err := os.WriteFile(name, f.Data, 0o666); err != nil {
			return err
		}
	}
	return nil
}
