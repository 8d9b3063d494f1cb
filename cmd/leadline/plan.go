package main

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"os"

	"github.com/leadline/leadline/analysis"
	"github.com/leadline/leadline/report"
	"github.com/spf13/cobra"
)

// planExample is a room as people have them; it holds what a plan file may say.
const planExample = `# A workshop's first panel, in a room of 4.2 by 5.6 metres.
title = "Workshop, first panel"

[air]
temperature_c = 20

[panel]                              # as in a survey
sequence = "quadratic residue"
prime = 13
design_frequency_hz = 1000
well_width_m = 0.040
fin_thickness_m = 0.005
height_m = 0.60
cap_m = 0.010
back_m = 0.005

[room]                               # from wall to wall and from floor to ceiling
width_m = 4.2
length_m = 5.6
height_m = 2.5

[rig]                                # all of it may be left out; [a, b] leaves free between a and b, one number fixes
# faces = "length"                   # along which side of the room the panel looks: "length", "width" or "either"
# middle_from_left_m = 2.1           # the panel's middle from the left wall, as seen from the panel; needs faces
# front_from_behind_m = [0.2, 3]     # the panel's front from the wall behind it; needs faces
# middle_above_floor_m = [0.3, 1.5]  # the panel's middle; a panel on the floor: half its height
radius_m = [1.0, 2.0]                # microphones from the middle of the panel's front
# source_distance_m = 2              # left out: twice the radius
# source_angle_deg = 0
source_above_floor_m = [0.8, 1.5]    # what the loudspeaker's stand allows
microphone_above_floor_m = [0.5, 1.8]
step_deg = 5                         # a microphone place every 5 degrees
largest_deg = 80                     # to either side
clearance_m = 0.3                    # source and microphones keep this far from the walls
# floor_absorber_m = 0.10            # thickness of what lies on the floor to absorb
`

func planCommand() *cobra.Command {
	var sheet, survey string
	var example bool
	cmd := &cobra.Command{
		Use:   "plan ROOM.toml",
		Short: "Plan where panel, source and microphones go before anything is measured",
		Long: `Plan searches the room for the places of panel, source and microphones that leave the longest time before the first disturbing echo,
and says which bands can count. A plan file gives the panel as a survey does, the room's size, and what is fixed or free; the one below is the
built-in example. Plan can write a sheet to print, with drawings to scale and tape-measure distances, and a survey file ready for the recordings,
which is never written over an existing file.`,
		Annotations: exitsOfDoing, ValidArgsFunction: filesOf("toml", 1),
		Example: `  leadline plan room.toml --sheet plan.html --survey survey.toml
  leadline plan --example --sheet plan.html

A plan file:

` + planExample,
		Args: func(cmd *cobra.Command, args []string) error {
			if want := map[bool]int{true: 0, false: 1}[example]; len(args) != want {
				return fmt.Errorf("plan: %d arguments: expected one plan file, or --example alone; see leadline plan --help", len(args))
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			if !example {
				if err := spareInputs("plan", args, sheet, survey); err != nil {
					return err
				}
			}
			if sheet == survey && sheet != "" {
				return fmt.Errorf("plan: --sheet and --survey both name %s: give each its own file", sheet)
			}
			if survey != "" && survey != "-" {
				if _, err := os.Lstat(survey); err == nil {
					return fmt.Errorf("plan: %s exists already and may hold your notes: give --survey another name, or remove it first", survey)
				} else if !errors.Is(err, os.ErrNotExist) {
					return err
				}
			}
			var rig *analysis.Rig
			var err error
			if example {
				rig, err = analysis.ParseRig([]byte(planExample), "example")
			} else {
				rig, err = analysis.LoadRig(args[0])
			}
			if err != nil {
				return err
			}
			plan, err := analysis.PlanRig(rig)
			if err != nil {
				return err
			}
			return writePlan(cmd, plan, sheet, survey)
		},
	}
	cmd.Flags().StringVar(&sheet, "sheet", "", "write the plan as one HTML file, to print; - for standard output")
	cmd.Flags().StringVar(&survey, "survey", "", "write a survey file ready for the recordings; - for standard output")
	cmd.Flags().BoolVar(&example, "example", false, "plan the built-in example")
	return cmd
}

// writePlan renders everything before it writes anything. The summary goes to standard output unless a file does.
func writePlan(cmd *cobra.Command, plan *analysis.Plan, sheet, survey string) error {
	var files []rendered
	if sheet != "" {
		var b bytes.Buffer
		if err := report.PlanSheet(&b, plan); err != nil {
			return err
		}
		files = append(files, rendered{sheet, b.Bytes()})
	}
	if survey != "" {
		files = append(files, rendered{survey, plan.SurveyFile()})
	}
	var summary bytes.Buffer
	if err := report.PlanText(&summary, plan); err != nil {
		return err
	}
	console := consoleOf(cmd)
	if err := console.write(files); err != nil {
		return err
	}
	console.warn(plan.Warnings...)
	if sheet == "-" || survey == "-" {
		return nil
	}
	_, err := io.Copy(console.summary(), &summary)
	return err
}
