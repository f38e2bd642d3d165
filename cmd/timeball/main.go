// Command timeball keeps the logbooks of marine chronometers and tells, for
// each, its error, its rate and what to do next.
package main

import (
	"os"

	"timeball/internal/cli"
)

func main() { os.Exit(cli.Main(os.Args[1:], os.Stdin, os.Stdout, os.Stderr)) }
