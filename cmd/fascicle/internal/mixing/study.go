package mixing

import (
	"context"
	"encoding/json"
	"io/fs"

	"fascicle/cmd/fascicle/internal/invented"
	"fascicle/pipelines"
)

// What invented studies share.
type (
	Truth     = invented.Truth
	TrueValue = invented.TrueValue
	Score     = invented.Score
	File      = invented.File
)

// Study is the whole demo in memory.
type Study struct {
	Files            []File
	Mixtures, Others int // how many mixtures, and how many controls, solvents and plates, there are
	Truth            Truth
}

// Make simulates the study.
func Make() (*Study, error) { return simulated(seed) }

// Write puts the study into dir, which is made when it does not exist. A folder with anything in it is refused with
// invented.ErrNotEmpty.
func (s *Study) Write(ctx context.Context, dir string) error {
	return invented.Write(ctx, dir, s.Files)
}

// simulated is the study of one seed.
func simulated(seed uint64) (*Study, error) {
	source := pipelines.MixingRatio()
	rows, err := readSheet(source)
	if err != nil {
		return nil, err
	}
	w := newWorld(seed, rows)
	s := &Study{Truth: w.truth()}
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
	}
	for _, write := range []func([]row) ([]File, error){w.absorbanceFiles, w.emissionFiles, w.decayFiles, w.scatteringFiles, w.plateFiles} {
		files, err := write(rows)
		if err != nil {
			return nil, err
		}
		s.Files = append(s.Files, files...)
	}
	truth, err := json.MarshalIndent(s.Truth, "", "  ")
	if err != nil {
		return nil, err
	}
	s.Files = append(s.Files, File{Name: "truth.json", Data: append(truth, '\n')})
	return s, nil
}

// those gives the rows that fit.
func those(rows []row, fits func(row) bool) (some []row) {
	for _, r := range rows {
		if fits(r) {
			some = append(some, r)
		}
	}
	return some
}

// of gives the rows of a day that went through the instruments for liquids.
func of(rows []row, day string) []row {
	return those(rows, func(r row) bool { return r.liquid() && r.day == day })
}

func (w *world) absorbanceFiles(rows []row) ([]File, error) {
	files := []File{{Name: "raw/absorbance/d1.csv", Data: w.absorbanceSheet(of(rows, "d1"))}}
	for _, r := range of(rows, "d2") {
		files = append(files, File{Name: "raw/absorbance/d2/" + r.sample + ".txt", Data: w.absorbanceFile(r)})
	}
	return files, nil
}

func (w *world) emissionFiles(rows []row) ([]File, error) {
	var files []File
	for _, r := range of(rows, "d1") {
		for _, ex := range excitations(r) {
			files = append(files, File{Name: "raw/emission/d1/" + r.sample + "_" + form(ex, 0) + ".txt", Data: w.emissionFile(r, ex)})
		}
	}
	blocks, err := w.emissionBlocks(of(rows, "d2"))
	return append(files, File{Name: "raw/emission/d2.txt.gz", Data: blocks},
		File{Name: "raw/emission/dark_d1.txt", Data: w.darkFile("d1")}, File{Name: "raw/emission/dark_d2.csv", Data: w.darkFile("d2")}), err
}

func (w *world) decayFiles(rows []row) ([]File, error) {
	var files, members []File
	for _, band := range []string{"donor", "acceptor"} {
		for _, day := range days {
			files = append(files, File{Name: "raw/decay/irf_" + day + "_" + band + ".csv", Data: responseFile(counters[day], w.responseCounter(day, band))})
		}
		for _, r := range rows {
			d, ok := w.decayOf(r, band)
			if !ok {
				continue
			}
			named, c := band, counters[r.day]
			if r.sample == noResponse && band == "acceptor" {
				named = "red" // behind a filter of which nobody took a response
			}
			counts := w.photonCounter(r, band, d)
			if r.day == "d1" {
				files = append(files, File{Name: "raw/decay/d1/" + r.sample + "_" + named + ".csv", Data: decayFile(r, named, c, counts)})
			} else {
				members = append(members, File{Name: r.sample + "_" + named + ".dat", Data: decayTimes(c, counts)})
			}
		}
	}
	packed, err := archive(members)
	return append(files, File{Name: "raw/decay/d2.zip", Data: packed}), err
}

func (w *world) scatteringFiles(rows []row) ([]File, error) {
	var files []File
	for _, r := range rows {
		switch {
		case !r.liquid() && !r.carbon():
		case r.day == "d1":
			files = append(files, File{Name: "raw/scattering/d1/" + r.sample + ".dat", Data: w.ringAverage(r)})
		default:
			files = append(files, File{Name: "raw/scattering/d2/" + r.sample + ".xml", Data: w.delivered(r)})
		}
	}
	return files, nil
}

func (w *world) plateFiles(rows []row) ([]File, error) {
	return []File{
		{Name: "raw/plates/p1.csv", Data: w.plateRows(those(rows, row.mixing))},
		{Name: "raw/plates/p2.tsv", Data: w.plateLong(those(rows, row.ladder))},
	}, nil
}
