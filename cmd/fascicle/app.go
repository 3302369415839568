package main

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"strings"

	"fascicle/catalog/fault"
	"fascicle/pipeline"
	"fascicle/pipeline/store"
	"fascicle/stages"

	"github.com/spf13/cobra"
)

// Exit status of the program.
const (
	statusGood        = 0   // all made or kept
	statusHoles       = 1   // finished, but some items failed or are blocked
	statusFault       = 2   // the study cannot be run as written, or the command line cannot be understood
	statusInterrupted = 130 // by Ctrl-C or a request to end
)

// Main runs the program with its arguments (without the program's name) and gives its exit status. When ctx is cancelled it
// ends cleanly with 130.
func Main(ctx context.Context, args []string, stdout, stderr io.Writer) int {
	a := &app{out: stdout, err: stderr, kinds: stages.Kinds()}
	root := rootCommand(a)
	root.SetArgs(append([]string{}, args...)) // cobra takes nil for the arguments of the process
	root.SetOut(stdout)
	root.SetErr(stderr)
	if err := root.ExecuteContext(ctx); err != nil { // only what cobra says of the command line: commands set a.status
		return a.fail(ctx, err)
	}
	return a.status
}

// app is what commands share: where they write, and the kinds there are.
type app struct {
	out, err io.Writer
	kinds    []*pipeline.Kind
	json     bool
	status   int
	disk     store.FS // for tests; nil: the disk
}

func rootCommand(a *app) *cobra.Command {
	root := &cobra.Command{
		Use:   "fascicle",
		Short: "Bind measurements to samples, and make a report of a study",
		Long: `Binds every measurement of a study to its sample, and makes numbers, figures and a report from them.

A study is a folder with study.yaml, a sheet of samples and raw files. ` + "`fascicle demo DIR`" + ` writes one to begin with.

Exit status: 0 all made or kept; 1 finished, but some items failed or are blocked; 2 the study cannot be run as written;
130 interrupted.`,
		Version:       pipeline.Program,
		SilenceUsage:  true,
		SilenceErrors: true,
	}
	root.SetVersionTemplate("{{.Version}}\n")
	root.CompletionOptions.HiddenDefaultCmd = true
	root.PersistentFlags().BoolVar(&a.json, "json", false, "print machine-readable lines")
	root.AddCommand(demoCommand(a), checkCommand(a), runCommand(a), kindsCommand(a), schemaCommand(a), lookCommand(a), traceCommand(a), compareCommand(a), trimCommand(a))
	return root
}

// arguments refuses a number of arguments outside min to max, and says how the command is used.
func arguments(min, max int) cobra.PositionalArgs {
	return func(c *cobra.Command, args []string) error {
		if len(args) < min || len(args) > max {
			return fmt.Errorf("found %d arguments; usage: %s; see `%s --help`", len(args), c.UseLine(), c.CommandPath())
		}
		return nil
	}
}

// say prints a line for people; with --json there are none. What names of files and samples hold cannot break or colour the line.
func (a *app) say(format string, args ...any) {
	if !a.json {
		fmt.Fprintln(a.out, fault.Visible(fmt.Sprintf(format, args...)))
	}
}

// text prints lines that are already set.
func (a *app) text(text string) {
	for line := range strings.SplitSeq(strings.TrimRight(text, "\n"), "\n") {
		a.say("%s", line)
	}
}

// warn prints a line among the errors, whatever the form of the rest.
func (a *app) warn(format string, args ...any) {
	fmt.Fprintln(a.err, fault.Visible(fmt.Sprintf(format, args...)))
}

// line prints a machine-readable line when --json was given.
func (a *app) line(v any) {
	if !a.json {
		return
	}
	enc := json.NewEncoder(a.out)
	enc.SetEscapeHTML(false)
	if err := enc.Encode(v); err != nil {
		panic("fascicle: " + err.Error()) // lines are structs of this program
	}
}

// event is the first member of every machine-readable line.
type event struct {
	Event string `json:"event"`
}

// faultLine is one thing that is wrong with what the user wrote. Message alone says all of it.
type faultLine struct {
	event
	File     string `json:"file,omitempty"`
	Line     int    `json:"line,omitempty"`
	Col      int    `json:"col,omitempty"`
	Sample   string `json:"sample,omitempty"`
	Found    string `json:"found,omitempty"`
	Expected string `json:"expected,omitempty"`
	Remedy   string `json:"remedy,omitempty"`
	Message  string `json:"message"`
}

// faults prints what is wrong with a study, a line each.
func (a *app) faults(list fault.List) int {
	for _, f := range list {
		a.warn("%s", f.Error())
		a.line(faultLine{event{"fault"}, f.File, f.Line, f.Col, f.Sample, f.Found, f.Expected, f.Remedy, f.Error()})
	}
	return statusFault
}

// fail prints why a command could not do what it was asked to.
func (a *app) fail(ctx context.Context, err error) int {
	if ctx.Err() != nil {
		a.warn("fascicle: interrupted")
		return statusInterrupted
	}
	lines := strings.Split(err.Error(), "\n")
	a.warn("fascicle: %s", lines[0])
	for _, l := range lines[1:] {
		a.warn("%s", l)
	}
	a.line(faultLine{event: event{"fault"}, Message: err.Error()})
	return statusFault
}

// plural is "1 file", "2 files".
func plural(n int, word string) string {
	if n == 1 {
		return "1 " + word
	}
	return fmt.Sprintf("%d %ss", n, word)
}
