package cli

import (
	"fmt"
	"runtime/debug"
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/cobra/doc"
)

func (c console) manual() *cobra.Command {
	return &cobra.Command{
		Use:     "manual [COMMAND]",
		Short:   "the manual page, made from this usage text",
		Long:    "Prints the manual page of timeball or of one of its commands, for man(1).",
		Example: "  timeball manual rate > timeball-rate.1",
		Args:    cobra.MaximumNArgs(1),
		RunE: does(func(cmd *cobra.Command, args []string) error {
			page := cmd.Root()
			if len(args) == 1 {
				found, rest, err := page.Find(args)
				if err != nil || len(rest) > 0 {
					return usage("there is no command %s", args[0])
				}
				page = found
			}
			// A fixed day keeps the page the same until the text changes.
			day := time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC)
			page.DisableAutoGenTag = true
			return doc.GenMan(page, &doc.GenManHeader{Title: "TIMEBALL", Section: "1", Source: "timeball", Manual: "timeball", Date: &day}, c.out)
		}),
	}
}

func (c console) version() *cobra.Command {
	return &cobra.Command{
		Use:   "version",
		Short: "which timeball this is",
		Args:  noArgs,
		RunE: does(func(cmd *cobra.Command, args []string) error {
			v := "built from source"
			if info, ok := debug.ReadBuildInfo(); ok {
				v = info.Main.Version
				for _, s := range info.Settings {
					if s.Key == "vcs.revision" {
						v += " " + s.Value
					}
				}
			}
			_, err := fmt.Fprintln(c.out, "timeball", v)
			return err
		}),
	}
}
