package importing

import (
	"context"
	"strings"
	"testing"

	"fascicle/pipeline"
	"fascicle/pipeline/table"
)

// The width of a channel may stand in the setting or the header; all that say it must agree.
func TestChannels(t *testing.T) {
	const data = "Width: 12.2\nchannel counts\n0 5\n1 90\n2 40\n"
	columns := []string{"time = channel", "counts = counts"}
	const want = "time ns: 0 0.0122 0.0244 | counts: 5 90 40"
	read := func(s setting, data string) (out []string, err error) {
		err = readFile(context.Background(), s.settings(t), []byte(data), "raw/file", func(fields []pipeline.Captured, tab *table.Table, r []pipeline.Remark) error {
			out = append(out, short(fields, tab, r))
			return tab.Check()
		})
		return out, err
	}
	for _, c := range []struct {
		name string
		set  setting
		want string
	}{
		{"setting", setting{channel: "12.2 ps"}, want},
		{"header", setting{channel: "found", header: []string{"channel = Width [ps]"}}, "channel=12.2 | " + want},
		{"header and setting", setting{channel: "0.0122 ns", header: []string{"channel = Width [ps]"}}, "channel=12.2 | " + want},
		{"rounded", setting{channel: "12 ps", header: []string{"channel = Width [ps]"}}, "channel=12.2 | " + want},
	} {
		t.Run(c.name, func(t *testing.T) {
			c.set.columns = columns
			got, err := read(c.set, data)
			if err != nil || len(got) != 1 || got[0] != c.want {
				t.Errorf("items %q, %v; want %q", got, err, c.want)
			}
		})
	}
	for _, c := range []struct {
		name string
		set  setting
		data string
		want string
	}{
		{"disagree", setting{channel: "24.4 ps", header: []string{"channel = Width [ps]"}}, data, "found widths of a channel that disagree: 0.0244 ns by the setting (24.4 ps), 0.0122 ns by the header (12.2)"},
		{"not said", setting{channel: "found"}, data, "nothing says the width of a channel"},
		{"no unit", setting{channel: "found", header: []string{"channel = Width"}}, data, "bare number"},
		{"no channels", setting{channel: "12.2 ps"}, "channel counts\n0.5 5\n1 90\n2 40\n", "line 2: found 0.5 on the axis"},
		{"time already", setting{channel: "12.2 ps", columns: []string{"time = 1 [ns]", "counts = 2"}}, data, "is in ns"},
	} {
		t.Run(c.name, func(t *testing.T) {
			if c.set.columns == nil {
				c.set.columns = columns
			}
			if got, err := read(c.set, c.data); err == nil || !strings.Contains(err.Error(), c.want) {
				t.Errorf("items %q, error %v; want %q", got, err, c.want)
			}
		})
	}
}

// What is not part of a file's recipe cannot decide its numbers.
func TestChannelOutsideTheFile(t *testing.T) {
	s := importSettings{Files: "raw/<sample>_<channel [ps]>.txt", Layout: "found", Channel: "found"}
	if err := s.Validate(); err == nil || !strings.Contains(err.Error(), "comes from `files`") {
		t.Errorf("error %v", err)
	}
}

// Histograms without an axis: one column, response and decay side by side, and one below the other.
func TestChannelsWithoutAxis(t *testing.T) {
	s := setting{columns: []string{"time = channels", "counts = 2"}, channel: "0.5 ns"}
	expectItems(t, s, "Counts\n5\n90\n40\n12\n", "time ns: 0 0.5 1 1.5 | counts: 5 90 40 12")
	s.curves = "<sample>"
	expectItems(t, s, "response,decay\n5,1\n90,3\n40,9\n12,27\n", "sample=response | time ns: 0 0.5 1 1.5 | counts: 5 90 40 12", "sample=decay | time ns: 0 0.5 1 1.5 | counts: 1 3 9 27")
	s.curves = "# <sample>"
	expectItems(t, s, "# response\n5\n90\n40\n\n# decay\n1\n3\n9\n27\n", "sample=response | time ns: 0 0.5 1 | counts: 5 90 40", "sample=decay | time ns: 0 0.5 1 1.5 | counts: 1 3 9 27")
}

// Wavenumbers stay wavenumbers, scattering vectors become 1/nm, and an axis whose unit nothing says takes the study's.
func TestAxisUnits(t *testing.T) {
	const bare = "0.1 1\n0.2 2\n0.5 3\n"
	expectItems(t, setting{columns: []string{"k = 1 [1/cm]", "A = 2"}}, "3000 1\n2000 2\n1000 3\n", "k 1/cm: 1000 2000 3000 | A: 3 2 1")
	expectItems(t, setting{columns: []string{"q = 1 [1/Å]", "I = 2"}}, bare, "q 1/nm: 1 2 5 | I: 1 2 3")
	expectItems(t, setting{axis: "1/Å"}, "q I\n"+bare, "q 1/nm: 1 2 5 | I: 1 2 3")
	expectItems(t, setting{axis: "1/cm"}, "k A\n"+bare, "k 1/cm: 0.1 0.2 0.5 | A: 1 2 3")
	expectError(t, setting{axis: "1/Å"}, "q [1/nm] I\n"+bare, "column q is in")
}
