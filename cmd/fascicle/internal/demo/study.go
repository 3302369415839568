package demo

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"fascicle/pipelines"
)

// Broken is the sample whose raw file is left empty on purpose, so that a reader sees how the report speaks of it.
const Broken = "C70"

// ErrNotEmpty is returned when there is already something in the folder that a study is to be written to.
var ErrNotEmpty = errors.New("is not empty; name a new folder, or empty this one first")

// File is one file of the study, its name relative to the study's folder and slash separated.
type File struct {
	Name string
	Data []byte
}

// Study is the whole demo in memory.
type Study struct {
	Files            []File
	Mixtures, Others int // how many mixtures, and how many solvents and plates, there are
	Truth            Truth
}

// Make simulates the study.
func Make() (*Study, error) { return simulated(seed) }

// simulated is the study of one seed: its own noise, and its own draws of what the study states.
func simulated(seed uint64) (*Study, error) {
	source := pipelines.FirstLook()
	rows, err := readSheet(source)
	if err != nil {
		return nil, err
	}
	w := newWorld(seed)
	s := &Study{Truth: truthOf(rows, w)}
	for _, name := range []string{"study.yaml", "samples.csv"} {
		data, err := fs.ReadFile(source, name)
		if err != nil {
			return nil, err
		}
		s.Files = append(s.Files, File{name, data})
	}
	for _, r := range rows {
		if r.mixture() {
			s.Mixtures++
		} else {
			s.Others++
		}
		s.Files = append(s.Files, w.rawFile(r))
	}
	truth, err := json.MarshalIndent(s.Truth, "", "  ")
	if err != nil {
		return nil, err
	}
	s.Files = append(s.Files, File{"truth.json", append(truth, '\n')})
	return s, nil
}

// rawFile is the file that the instrument of the row's day wrote.
func (w *world) rawFile(r row) File {
	write, ext := dayOne, ".dat"
	if r.day == "d2" {
		write, ext = dayTwo, ".csv"
	}
	f := File{Name: "raw/" + r.day + "/" + r.sample + ext}
	if r.sample != Broken {
		f.Data = write(r, w.simulate(r))
	}
	return f
}

// Write puts the study into dir, which is made when it does not exist. A folder with anything in it is refused with ErrNotEmpty.
func (s *Study) Write(ctx context.Context, dir string) error {
	switch entries, err := os.ReadDir(dir); {
	case errors.Is(err, fs.ErrNotExist):
	case err != nil:
		return err
	case len(entries) > 0:
		return fmt.Errorf("folder %s %w", dir, ErrNotEmpty)
	}
	for _, f := range s.Files {
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
