package report

import (
	"context"
	"fmt"
	"path/filepath"
	"runtime"
	"slices"
	"sync"
	"sync/atomic"

	"fascicle/pipeline"
	"fascicle/pipeline/table"
)

// Result says what Write did.
type Result struct {
	Report                      string // path of the page
	Written, Unchanged, Removed int    // files in out/
}

// Write makes the study's folder out/ what the outcome says: report.html, values.json, tables/*.csv and figures/*.svg.
//
// When the outcome's digest and all files in out/ are as the last Write left them, no table is read and nothing is opened or
// written. Otherwise files are made anew, those whose content is as before are left alone, and files that are no longer made
// are removed. An error leaves a folder that the next Write puts in order.
func Write(ctx context.Context, o *pipeline.Outcome) (Result, error) {
	res := Result{Report: filepath.Join(o.Dir, "out", "report.html")}
	old, now := readManifest(o.Dir), digest(o)
	out, err := openFolder(o.Dir, old)
	if err != nil {
		return res, err
	}
	defer func() { _ = out.root.Close() }()
	if out.current(old, now) {
		res.Unchanged = len(old.Files)
		return res, nil
	}
	values, err := o.ReadValues(ctx)
	if err != nil {
		return res, fmt.Errorf("report: %w", err)
	}
	w := &writer{model: newModel(o, values), out: out, names: &fileNames{map[string]bool{"tables/samples": true}}}
	if err := w.write(ctx); err != nil {
		return res, err
	}
	if res.Removed, err = out.clear(); err != nil {
		return res, err
	}
	res.Written, res.Unchanged = out.written, out.unchanged
	if now != "" {
		if err := writeManifest(o.Dir, out.manifest(now)); err != nil {
			return res, fmt.Errorf("report: %w", err)
		}
	}
	return res, nil
}

// mostInline is the number of samples up to which the page shows the figures of each; beyond it links to the files.
const (
	mostInline        = 60
	mostInlineFigures = 600
)

// writer is one Write at work.
type writer struct {
	*model
	out       *folder
	names     *fileNames
	jobs      []*job
	overviews []*figure
	more      int      // overviews left out
	joined    []joined // columns of the table of samples
	unjoined  []string // stages left out of it
	tables    []tableFile
	asked     asked // what the study asks for
	inline    bool  // the page shows the figures of each sample
	inlineAll bool  // and those of what belongs to no sample
	budgets   bool  // and what the u of each number consists of
}

// tableFile is a CSV and what it holds.
type tableFile struct {
	file, about string
	stage       string
	data        func() ([]byte, error)
}

func (w *writer) write(ctx context.Context) error {
	w.planAsked()
	w.joined, w.unjoined = w.join()
	w.overviews, w.more = w.planOverviews(w.joined, w.names)
	w.jobs = w.planFigures(w.names)
	w.keepAnswers()
	count, common := 0, 0
	for _, j := range w.jobs {
		count += len(j.figures)
		for _, f := range j.figures {
			if f.base.Sample == "" {
				common++
			}
		}
	}
	w.inline = len(w.samples) <= mostInline && count <= mostInlineFigures
	w.inlineAll = common <= mostInlineFigures/4
	w.planTables()

	if len(w.tables)+len(w.asked.tables) > 0 {
		if err := w.out.folder("tables"); err != nil {
			return err
		}
	}
	if count+len(w.overviews)+len(w.asked.figures) > 0 {
		if err := w.out.folder("figures"); err != nil {
			return err
		}
	}
	var tasks []func() error
	for _, f := range w.overviews {
		tasks = append(tasks, func() error { return w.finish(f, f.plot, true) })
	}
	for _, j := range w.jobs {
		tasks = append(tasks, func() error { return w.draw(j) })
	}
	for _, f := range w.asked.figures {
		tasks = append(tasks, func() error { return w.makeFigure(f) })
	}
	for _, t := range w.asked.tables {
		tasks = append(tasks, func() error { return w.makeTable(t) })
	}
	for _, t := range w.tables {
		tasks = append(tasks, func() error {
			data, err := t.data()
			if err != nil {
				return err
			}
			return w.out.put(t.file, data)
		})
	}
	tasks = append(tasks, func() error {
		data, err := w.valuesJSON()
		if err != nil {
			return err
		}
		return w.out.put("values.json", data)
	})
	if err := inParallel(ctx, tasks); err != nil {
		return err
	}
	return w.out.put("report.html", w.page())
}

// draw makes the figures of one item.
func (w *writer) draw(j *job) error {
	r := &reader{m: w.model, have: map[*pipeline.ItemOutcome]*table.Table{}}
	for _, f := range j.figures {
		pl, err := r.build(f)
		if err != nil {
			return err
		}
		if err := w.finish(f, pl, f.answers || f.base.Sample != "" && w.inline || f.base.Sample == "" && w.inlineAll); err != nil {
			return err
		}
	}
	return nil
}

func (w *writer) finish(f *figure, pl *plot, keep bool) error {
	svg, ok := drawn(pl)
	if !ok {
		f.none = "nothing to draw: no point has both numbers"
		return nil
	}
	if keep {
		f.svg = svg
	}
	return w.out.put(f.file, svg)
}

// planTables lists the CSV files: samples, each stage's numbers, each output of form table.
func (w *writer) planTables() {
	if len(w.samples) > 0 {
		w.tables = append(w.tables, tableFile{"tables/samples.csv", "the sheet and the numbers of each sample, a row a sample", "",
			func() ([]byte, error) { return w.samplesTable(w.joined), nil }})
	}
	for _, s := range w.stages {
		if s.Kind == nil {
			continue
		}
		if len(s.rows) > 0 {
			w.tables = append(w.tables, tableFile{w.names.give("tables/", s.Name, "", ".csv"), "numbers, a row an item", s.Name,
				func() ([]byte, error) { return w.stageTable(s), nil }})
		}
		for _, out := range s.Kind.Outputs {
			if out.Form != pipeline.TableForm {
				continue
			}
			var items []*pipeline.ItemOutcome
			for i := range s.Items {
				if s.Items[i].Output == out.Name {
					items = append(items, &s.Items[i])
				}
			}
			if len(items) > 0 {
				w.tables = append(w.tables, tableFile{w.names.give("tables/", s.Name+"."+out.Name, "", ".csv"), out.Doc, s.Name,
					func() ([]byte, error) { return w.outputTable(items) }})
			}
		}
	}
}

// inParallel runs all tasks on the processors there are. Of several errors it gives that of the first task, so that the message does
// not depend on timing.
func inParallel(ctx context.Context, tasks []func() error) error {
	errs := make([]error, len(tasks))
	var next atomic.Int64
	var wg sync.WaitGroup
	for range min(len(tasks), runtime.GOMAXPROCS(0)) {
		wg.Go(func() {
			for {
				i := int(next.Add(1)) - 1
				if i >= len(tasks) {
					return
				}
				if errs[i] = ctx.Err(); errs[i] != nil {
					return
				}
				if errs[i] = tasks[i](); errs[i] != nil {
					return
				}
			}
		})
	}
	wg.Wait()
	if i := slices.IndexFunc(errs, func(e error) bool { return e != nil }); i >= 0 {
		return errs[i]
	}
	return nil
}
