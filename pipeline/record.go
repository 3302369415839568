package pipeline

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"

	"fascicle/pipeline/store"
)

// Record says what a run made, from which recipes, and what came out: enough to compare two runs, or trace a number, without the
// store. It is the only thing that is fsynced.
type Record struct {
	Format  int           `json:"format"`
	Run     int           `json:"run"`
	Label   string        `json:"label,omitempty"`
	When    string        `json:"when"` // UTC
	Program string        `json:"program"`
	Title   string        `json:"study"`
	Digest  string        `json:"digest"`
	Raw     []RawFile     `json:"raw"`
	Stages  []RecordStage `json:"stages"`
	Values  []Value       `json:"values"`
}

// RecordStage holds the lines that all recipes of a stage begin with, and its groups.
type RecordStage struct {
	Name   string        `json:"name"`
	Kind   string        `json:"kind"`
	Common []string      `json:"recipe"`
	Groups []RecordGroup `json:"groups"`
}

// RecordGroup is one recipe: its own lines and what it gave.
type RecordGroup struct {
	Name    string       `json:"name"`
	Key     string       `json:"key,omitempty"`
	State   State        `json:"state"`
	Message string       `json:"message,omitempty"`
	File    string       `json:"file,omitempty"`
	Lines   []string     `json:"recipe,omitempty"`
	Items   []RecordItem `json:"items"`
	Sources []Source     `json:"sources,omitempty"`
}

// RecordItem is one item with its content hash.
type RecordItem struct {
	Output  string `json:"output"`
	Form    string `json:"form,omitempty"`
	Name    string `json:"name"`
	State   State  `json:"state"`
	Hash    string `json:"hash,omitempty"`
	Message string `json:"message,omitempty"`
}

const recordFormat = 1

func runsDir(dir string) string   { return filepath.Join(dir, StateDir, "runs") }
func labelsDir(dir string) string { return filepath.Join(dir, "labels") }
func lastFile(dir string) string  { return filepath.Join(dir, StateDir, "last") }

// digest hashes all that out/ depends on. Made and kept are the same to it.
func (r *runner) digest(o *Outcome) string {
	h := sha256.New()
	var b []byte
	line := func(parts ...string) {
		b = b[:0]
		for _, p := range parts {
			b = strconv.AppendQuote(b, p)
			b = append(b, ' ')
		}
		b = append(b, '\n')
		h.Write(b)
	}
	line(Program)
	line(string(r.p.text))
	line(hex.EncodeToString(r.p.Sheet.SHA256[:]))
	for _, s := range r.p.stages {
		for _, it := range r.items[s] {
			state := it.state
			if state == Kept {
				state = Made
			}
			b = append(b[:0], s.name...)
			b = append(b, 0)
			b = append(b, it.output...)
			b = append(b, 0)
			b = append(b, it.name...)
			b = append(b, 0)
			b = append(b, state...)
			b = append(b, it.hash[:]...)
			b = append(b, it.message...)
			for _, f := range it.flags {
				b = append(b, 0)
				b = append(b, f.Level...)
				b = append(b, ':')
				b = append(b, f.Text...)
			}
			b = append(b, '\n')
			h.Write(b)
		}
	}
	for _, s := range r.p.stages {
		for _, g := range r.groups[s] {
			if g.file != "" {
				b = append(append(append(b[:0], g.file...), 0), g.fileHash[:]...)
				h.Write(append(b, '\n'))
			}
		}
	}
	line(o.Remarks...)
	return hex.EncodeToString(h.Sum(nil))
}

// keepRecord writes the run's record, unless nothing differs from the last one.
func (r *runner) keepRecord(o *Outcome, disk store.FS) error {
	dir := r.p.Dir
	var last struct {
		Run    int
		Digest string
	}
	if b, err := os.ReadFile(lastFile(dir)); err == nil {
		if json.Unmarshal(b, &last) == nil && last.Digest == o.Digest {
			if _, err := os.Stat(filepath.Join(runsDir(dir), recordName(last.Run))); err == nil {
				o.Run = last.Run
			}
		}
	}
	if o.Run > 0 && r.opt.Label == "" {
		return nil
	}
	rec, err := r.makeRecord(o)
	if err != nil {
		return err
	}
	if o.Run == 0 {
		numbers := recordNumbers(dir)
		rec.Run = 1
		if len(numbers) > 0 {
			rec.Run = numbers[len(numbers)-1] + 1
		}
		if err := writeSynced(filepath.Join(runsDir(dir), recordName(rec.Run)), rec, disk); err != nil {
			return fmt.Errorf("writing the run's record: %w", err)
		}
		o.Run = rec.Run
		last.Run, last.Digest = rec.Run, rec.Digest
		if err := writeSynced(lastFile(dir), last, disk); err != nil {
			return fmt.Errorf("writing the run's record: %w", err)
		}
	} else {
		rec.Run = o.Run
	}
	if r.opt.Label != "" {
		rec.Label = r.opt.Label
		if err := writeSynced(filepath.Join(labelsDir(dir), r.opt.Label+".json"), rec, disk); err != nil {
			return fmt.Errorf("writing the label %s: %w", r.opt.Label, err)
		}
	}
	return nil
}

// CheckLabel says why a word cannot be a label.
func CheckLabel(label string) error {
	if label == "" || strings.HasPrefix(label, ".") || strings.ContainsFunc(label, func(c rune) bool {
		return c != '-' && c != '_' && c != '.' && (c < '0' || c > '9') && (c < 'a' || c > 'z') && (c < 'A' || c > 'Z')
	}) {
		return fmt.Errorf("the label %q: letters, digits, -, _ and . are expected, and no number alone", label)
	}
	if _, err := strconv.Atoi(label); err == nil || label == "last" {
		return fmt.Errorf("the label %q: a number alone and `last` are names of runs; choose another", label)
	}
	return nil
}

func recordName(n int) string { return fmt.Sprintf("%06d.json", n) }

// recordNumbers lists the runs whose records are there, ascending.
func recordNumbers(dir string) []int {
	entries, _ := os.ReadDir(runsDir(dir))
	var out []int
	for _, e := range entries {
		if n, err := strconv.Atoi(strings.TrimSuffix(e.Name(), ".json")); err == nil && recordName(n) == e.Name() {
			out = append(out, n)
		}
	}
	slices.Sort(out)
	return out
}

func (r *runner) makeRecord(o *Outcome) (*Record, error) {
	values, err := o.ReadValues(context.WithoutCancel(r.ctx))
	if err != nil {
		return nil, err
	}
	rec := &Record{Format: recordFormat, When: time.Now().UTC().Format(time.RFC3339), Program: Program, Title: o.Title, Digest: o.Digest, Raw: o.Raw, Values: values}
	for _, s := range r.p.stages {
		rs := RecordStage{Name: s.name}
		if s.kind != nil {
			rs.Kind = s.kind.Name
			rs.Common = lines(r.plans[s].common)
			for _, g := range r.groups[s] {
				rs.Groups = append(rs.Groups, r.recordGroup(g))
			}
		} else if len(s.members) > 0 {
			g := RecordGroup{Name: "all", State: Kept}
			for _, it := range r.items[s] {
				g.Items = append(g.Items, recordItem(it))
			}
			for _, m := range s.members {
				for _, it := range r.items[m] {
					g.Sources = append(g.Sources, Source{Port: "items", Stage: m.name, Output: it.output, Item: it.name})
				}
			}
			rs.Groups = append(rs.Groups, g)
		}
		rec.Stages = append(rec.Stages, rs)
	}
	return rec, nil
}

func recordItem(it *item) RecordItem {
	ri := RecordItem{Output: it.output, Form: it.form.String(), Name: it.name, State: it.state, Message: it.message}
	if it.state.Good() {
		ri.Hash = it.hash.String()
	}
	return ri
}

func (r *runner) recordGroup(g *group) RecordGroup {
	rg := RecordGroup{Name: g.name, State: g.state, Message: g.message, File: g.file}
	if g.recipe != nil {
		rg.Key = g.key.String()
		rg.Lines = lines(g.recipe[len(r.plans[g.stage].common):])
	}
	for _, it := range g.outputs {
		rg.Items = append(rg.Items, recordItem(it))
	}
	if len(g.outputs) > 0 && g.file == "" {
		rg.Sources = r.sources(g.outputs[0])
	}
	return rg
}

func lines(b []byte) []string {
	if len(b) == 0 {
		return nil
	}
	return strings.Split(strings.TrimSuffix(string(b), "\n"), "\n")
}

// writeSynced writes JSON under a temporary name, fsyncs it and renames it.
func writeSynced(name string, v any, disk store.FS) error {
	var buf bytes.Buffer
	enc := json.NewEncoder(&buf)
	enc.SetEscapeHTML(false)
	enc.SetIndent("", " ")
	if err := enc.Encode(v); err != nil {
		return err
	}
	if err := disk.MkdirAll(filepath.Dir(name), 0o777); err != nil {
		return err
	}
	temp := name + ".new"
	f, err := disk.OpenFile(temp, os.O_WRONLY|os.O_CREATE|os.O_TRUNC, 0o666)
	if err != nil {
		return err
	}
	_, err = f.Write(buf.Bytes())
	if err == nil {
		err = f.Sync()
	}
	if cerr := f.Close(); err == nil {
		err = cerr
	}
	if err == nil {
		err = disk.Rename(temp, name)
	}
	if err != nil {
		_ = disk.Remove(temp) // the first error is what matters
	}
	return err
}

// ErrNoRun says that a study was never run to its end, or that no record of the run asked for is kept.
var ErrNoRun = errors.New("no such run")

// LoadRecord reads a run's record: by number, by label, or, for "", the last one.
func LoadRecord(dir, which string) (*Record, error) {
	name := ""
	numbers := recordNumbers(dir)
	switch n, err := strconv.Atoi(which); {
	case which == "" || which == "last":
		if len(numbers) == 0 {
			return nil, fmt.Errorf("%w: this study has no finished run yet; `fascicle run` makes one", ErrNoRun)
		}
		name = filepath.Join(runsDir(dir), recordName(numbers[len(numbers)-1]))
	case err == nil && n > 0:
		name = filepath.Join(runsDir(dir), recordName(n))
	default:
		if err := CheckLabel(which); err != nil {
			return nil, fmt.Errorf("%w; there are the runs %s", err, runList(dir))
		}
		name = filepath.Join(labelsDir(dir), which+".json")
	}
	if which == "" || which == "last" {
		which = strconv.Itoa(numbers[len(numbers)-1])
	}
	b, err := os.ReadFile(name)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, fmt.Errorf("%w: %q; there are the runs %s", ErrNoRun, which, runList(dir))
	}
	if err != nil {
		return nil, err
	}
	rec := &Record{}
	if err := json.Unmarshal(b, rec); err != nil {
		return nil, fmt.Errorf("the record of run %s cannot be read (%v); run again to have a new one", which, err)
	}
	if rec.Format > recordFormat {
		return nil, fmt.Errorf("the record of run %s was written by a newer fascicle (format %d, this one knows %d); use that program, or run again", which, rec.Format, recordFormat)
	}
	return rec, nil
}

func runList(dir string) string {
	var out []string
	for _, n := range recordNumbers(dir) {
		out = append(out, strconv.Itoa(n))
	}
	out = append(out, labels(dir)...)
	if len(out) == 0 {
		return "none"
	}
	return strings.Join(out, ", ")
}

func labels(dir string) []string {
	entries, _ := os.ReadDir(labelsDir(dir))
	var out []string
	for _, e := range entries {
		if n, ok := strings.CutSuffix(e.Name(), ".json"); ok && !strings.HasPrefix(n, ".") {
			out = append(out, n)
		}
	}
	return out
}

func lastRecord(dir string) *Record {
	rec, err := LoadRecord(dir, "")
	if err != nil {
		return nil
	}
	return rec
}

// whyMade says which lines of a made group's recipe are new since the last record.
func (r *runner) whyMade(g *group) []string {
	if !r.opt.Why || g.state != Made {
		return nil
	}
	if r.previous == nil {
		return []string{"no earlier run to compare with"}
	}
	old := r.previous.group(g.stage.name, g.name)
	if old == nil {
		return []string{"new: the last run had no such item"}
	}
	stage := r.previous.stage(g.stage.name)
	have := map[string]bool{}
	for _, l := range append(slices.Clone(stage.Common), old.Lines...) {
		have[l] = true
	}
	var out []string
	for _, l := range lines(g.recipe) {
		if !have[l] {
			out = append(out, strings.TrimSpace(l))
		}
	}
	if out == nil {
		out = []string{"its recipe is that of the last run, but the store no longer had the result"}
		if r.opt.Remake {
			out = []string{"everything is made again"}
		}
	}
	return out
}

func (rec *Record) stage(name string) *RecordStage {
	for i := range rec.Stages {
		if rec.Stages[i].Name == name {
			return &rec.Stages[i]
		}
	}
	return nil
}

func (rec *Record) group(stage, name string) *RecordGroup {
	s := rec.stage(stage)
	if s == nil {
		return nil
	}
	for i := range s.Groups {
		if s.Groups[i].Name == name {
			return &s.Groups[i]
		}
	}
	return nil
}

// groupOf finds the group that gave an item.
func (rec *Record) groupOf(stage, output, item string) *RecordGroup {
	s := rec.stage(stage)
	if s == nil {
		return nil
	}
	for i := range s.Groups {
		for _, it := range s.Groups[i].Items {
			if it.Name == item && (output == "" || it.Output == output) {
				return &s.Groups[i]
			}
		}
	}
	return nil
}
