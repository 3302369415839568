package importing

import (
	"strings"
	"testing"
)

func TestHeaderDate(t *testing.T) {
	for _, c := range []struct{ in, order, want string }{
		{"2031-03-04", "", "2031-03-04"}, {"2031-03-04T15:04:05", "", "2031-03-04T15:04:05"}, {"2031-03-04 15:04:05.250", "", "2031-03-04T15:04:05"},
		{"2031/3/4", "", "2031-03-04"}, {"2031.03.04 7:08", "", "2031-03-04T07:08:00"}, {"04-Mar-2031 18:35:02", "", "2031-03-04T18:35:02"},
		{"4 March 2031", "", "2031-03-04"}, {"Mar 4, 2031", "", "2031-03-04"}, {"Fri, Dec 26, 2031 3:35:05 PM", "", "2031-12-26T15:35:05"},
		{"Mon Mar 08 11:01:12 2031", "", "2031-03-08T11:01:12"}, {"12:05 AM 13/3/2031", "", "2031-03-13T00:05:00"}, {"13.3.2031", "", "2031-03-13"}, {"3/13/2031", "", "2031-03-13"},
		{"3/3/2031", "", "2031-03-03"}, {"3/4/2031", "day first", "2031-04-03"}, {"3/4/2031", "month first", "2031-03-04"}, {"29-Feb-2032", "", "2032-02-29"},
		{"3/4/2031", "", "! which may be 2031-04-03 or 2031-03-04; set `dates"}, {"91/06/18", "", "! a year of four digits"}, {"29-Feb-2031", "", "! a year of four digits"},
		{"2031-03-04T15:04:05Z", "", "! without a time zone"}, {"yesterday", "", "! where a date is due"}, {"13/13/2031", "", "! where a date is due"}, {"", "", "! where a date is due"},
		{"25:61 2031-03-04", "", "! where a date is due"}, {"Mar Apr 4 2031", "", "! where a date is due"}, {"2031 3", "", "! where a date is due"}, {"13:00 PM 4 Mar 2031", "", "! where a date is due"},
	} {
		got, err := headerDate(c.in, c.order)
		if want, bad := strings.CutPrefix(c.want, "! "); bad {
			if err == nil || !strings.Contains(err.Error(), want) {
				t.Errorf("%q: %q, error %v; want an error with %q", c.in, got, err, want)
			}
		} else if err != nil || got != c.want {
			t.Errorf("%q: %q, %v; want %q", c.in, got, err, c.want)
		}
	}
}

func TestHeaderOfDecimalCommas(t *testing.T) {
	expectItems(t, setting{columns: xy, header: []string{"exposure = Exposure [s]", "taken = Taken [date]"}}, "Exposure;0,3 s;\nTaken;04-Mar-2031;\nx;y;\n1,5;2,5;\n2,5;3,5;\n",
		"exposure=0.3 s | taken=2031-03-04 | x: 1.5 2.5 | y: 2.5 3.5 ! column 3 is empty and left out")
	expectError(t, setting{columns: xy, header: []string{"taken = Taken [date]"}}, "Taken: 3/4/2031\n1 2\n2 3\n", "line 1: field `taken`: found the date \"3/4/2031\", which may be 2031-04-03 or 2031-03-04")
}

func FuzzHeaderDate(f *testing.F) {
	for _, s := range []string{"2031-03-04", "4 Mar 2031 3:04 PM", "3/4/2031", "99999999999999999999/1/1"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		if d, err := headerDate(s, "day first"); err == nil {
			if again, err := headerDate(d, ""); err != nil || again != d {
				t.Fatalf("%q gives %q, which gives %q, %v", s, d, again, err)
			}
		}
	})
}
