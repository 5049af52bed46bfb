// Command leafturn helps a grower with a small cut-flower field to decide,
// bed by bed and week by week, what to do about pests.
package main

import (
	"context"
	"os"
	"os/signal"
	"syscall"

	"leafturn/internal/cli"
)

func main() { os.Exit(run()) }

func run() int {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	return cli.Main(ctx, os.Args, cli.Std())
}
