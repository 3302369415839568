// Command fascicle binds every measurement of a study to its sample, and issues one chapter's worth of numbers, figures and
// provenance from them.
package main

import (
	"context"
	"os"
	"os/signal"
	"syscall"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	// After the first signal the program ends by itself, as soon as it can do so cleanly; a second one kills it.
	context.AfterFunc(ctx, stop)
	os.Exit(Main(ctx, os.Args[1:], os.Stdout, os.Stderr))
}
