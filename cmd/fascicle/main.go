// Command fascicle binds every measurement of a study to its sample, and issues one chapter's worth of numbers, figures and
// provenance from them.
package main

import (
	"context"
	"os"
	"os/signal"
	"runtime/debug"
	"syscall"
)

func main() {
	// Most runs find nothing new and are over within a tenth of a second: collecting garbage in them is wasted. Memory stays
	// bounded by what one group needs, so a larger heap between collections does little harm.
	debug.SetGCPercent(400)
	if os.Getenv("GOMEMLIMIT") == "" {
		debug.SetMemoryLimit(280 << 20) // from here on memory counts for more than time
	}
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	// After the first signal the program ends by itself, as soon as it can do so cleanly; a second one kills it.
	context.AfterFunc(ctx, stop)
	os.Exit(Main(ctx, os.Args[1:], os.Stdout, os.Stderr))
}
