//go:build browser

package report

import (
	"context"
	"fmt"
	"path/filepath"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
)

// TestBrowser opens a report as a reader would, on a desk and on a phone: go test -tags browser ./report
func TestBrowser(t *testing.T) {
	dir := t.TempDir()
	res := write(t, fullFake(t, dir))
	page, err := filepath.Abs(res.Report)
	if err != nil {
		t.Fatal(err)
	}
	options := append(chromedp.DefaultExecAllocatorOptions[:],
		chromedp.NoSandbox, chromedp.Flag("disable-quic", true), chromedp.Flag("disable-component-update", true), chromedp.UserDataDir(t.TempDir()))
	ctx, cancel := chromedp.NewExecAllocator(context.Background(), options...)
	defer cancel()
	ctx, cancel = chromedp.NewContext(ctx)
	defer cancel()
	if err := chromedp.Do(ctx, chromedp.Navigate("about:blank")); err != nil {
		t.Skipf("no browser here: %v", err)
	}
	defer func() { _ = chromedp.Cancel(ctx) }()

	const last = "that is all"
	complaints := make(chan []string)
	messages := chromedp.Console(ctx)
	go func() {
		var list []string
		for m, err := range messages {
			if err != nil {
				list = append(list, err.Error())
				break
			}
			if m.Text == last {
				break
			}
			list = append(list, m.Text)
		}
		complaints <- list
	}()

	type look struct {
		Wide     int      `json:"wide"`
		Body     int      `json:"body"`
		Headings []string `json:"headings"`
		Figures  int      `json:"figures"`
		Narrow   string   `json:"narrow"`
		Fetched  []string `json:"fetched"`
	}
	const script = `({
		wide: document.documentElement.clientWidth,
		body: Math.max(document.documentElement.scrollWidth, document.body.scrollWidth),
		headings: [...document.querySelectorAll("h1, h2")].map(e => e.textContent),
		figures: [...document.querySelectorAll("figure svg")].filter(e => e.checkVisibility() && e.getBoundingClientRect().height > 100).length,
		narrow: [...document.querySelectorAll("figure text")].filter(e => {
			if (!e.checkVisibility()) return false;
			const a = e.getBoundingClientRect(), b = e.ownerSVGElement.getBoundingClientRect();
			return a.left < b.left - 1 || a.right > b.right + 1 || a.bottom > b.bottom + 1;
		}).map(e => e.textContent).join("|"),
		fetched: performance.getEntriesByType("resource").map(e => e.name).filter(n => n != "data:,"),
	})`
	for _, width := range []int64{1400, 390} {
		for _, unfolded := range []bool{false, true} {
			t.Run(fmt.Sprintf("%d wide, unfolded %v", width, unfolded), func(t *testing.T) {
				ctx, cancel := context.WithTimeout(ctx, 30*time.Second)
				defer cancel()
				open := "0"
				if unfolded {
					open = `document.querySelectorAll("details").forEach(d => d.open = true), 0`
				}
				if err := chromedp.Do(ctx, chromedp.EmulateViewport(width, 900), chromedp.Navigate("file://"+page), chromedp.Evaluate[chromedp.Void](open)); err != nil {
					t.Fatal(err)
				}
				got, err := chromedp.Run(ctx, chromedp.Evaluate[look](script))
				if err != nil {
					t.Fatal(err)
				}
				if len(got.Fetched) > 0 {
					t.Errorf("the page fetches %q", got.Fetched)
				}
				if got.Wide != int(width) || got.Body > got.Wide {
					t.Errorf("the page is %d wide in a window of %d", got.Body, got.Wide)
				}
				if got.Narrow != "" {
					t.Errorf("words reach out of their figure: %s", got.Narrow)
				}
				want := []string{`A pair <of> polymers & "salt"`, "The study", "What failed or is blocked", "Flagged", "Samples", "Numbers over the samples",
					"Sample by sample", "Series, calibrations and controls", "Methods", "How uncertainties are formed", "Constants and derived columns", "Raw files", "Remarks and cautions"}
				if fmt.Sprint(got.Headings) != fmt.Sprint(want) {
					t.Errorf("headings are %q; expected %q", got.Headings, want)
				}
				if least := map[bool]int{false: 8, true: 30}[unfolded]; got.Figures < least {
					t.Errorf("%d figures are to be seen; expected %d at least", got.Figures, least)
				}
			})
		}
	}
	if err := chromedp.Do(ctx, chromedp.Evaluate[chromedp.Void](`console.log("`+last+`")`)); err != nil {
		t.Fatal(err)
	}
	select {
	case list := <-complaints:
		if len(list) > 0 {
			t.Errorf("the browser complains: %q", list)
		}
	case <-time.After(20 * time.Second):
		t.Error("the console was not heard")
	}
}
