package firstlook

import (
	"context"
	"encoding/json"
	"io/fs"

	"fascicle/cmd/fascicle/internal/invented"
	"fascicle/pipelines"
)

// Broken is the sample whose raw file is left empty on purpose, so that a reader sees how the report speaks of it.
const Broken = "C70"

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
		s.Files = append(s.Files, File{Name: name, Data: data})
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
	s.Files = append(s.Files, File{Name: "truth.json", Data: append(truth, '\n')})
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
	return invented.Write(ctx, dir, s.Files)
}
