package pipeline

import (
	"context"
	"os"
	"path/filepath"
	"strconv"

	"fascicle/pipeline/store"
)

// Trim removes from the store what neither the last run, nor the one before it, nor any labelled run needs, and the records of
// other runs. freed is in bytes.
func Trim(ctx context.Context, dir string, waiting func(holder string)) (removed int, freed int64, err error) {
	state := filepath.Join(dir, StateDir)
	if _, err := os.Stat(state); err != nil {
		return 0, 0, nil // never run: there is nothing to remove
	}
	unlock, err := store.Lock(ctx, state, waiting)
	if err != nil {
		return 0, 0, err
	}
	defer unlock()
	s, err := store.Open(filepath.Join(state, "store"), store.OS{})
	if err != nil {
		return 0, 0, err
	}
	numbers := recordNumbers(dir)
	var kept []string
	for i, n := range numbers {
		if i >= len(numbers)-2 {
			kept = append(kept, strconv.Itoa(n))
		}
	}
	keep := map[store.RecipeKey]bool{}
	for _, which := range append(kept, labels(dir)...) {
		rec, err := LoadRecord(dir, which)
		if err != nil {
			return 0, 0, err // a record that cannot be read might need anything: nothing is removed
		}
		for _, st := range rec.Stages {
			for _, g := range st.Groups {
				if k, err := store.ParseRecipeKey(g.Key); err == nil {
					keep[k] = true
				}
			}
		}
	}
	removed, freed, err = s.Trim(keep)
	if err != nil {
		return removed, freed, err
	}
	for i, n := range numbers {
		if i < len(numbers)-2 {
			name := filepath.Join(runsDir(dir), recordName(n))
			info, err := os.Stat(name)
			if err == nil && os.Remove(name) == nil {
				removed++
				freed += info.Size()
			}
		}
	}
	return removed, freed, nil
}
