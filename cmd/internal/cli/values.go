package cli

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"

	"github.com/spf13/cobra"
)

// Values of flags. They differ from the flag library's own in that a slip is
// answered in the user's words.

type wholeValue struct {
	to   *int
	name string // shown in the help
}

func (v wholeValue) String() string {
	if v.to == nil || *v.to == 0 {
		return ""
	}
	return strconv.Itoa(*v.to)
}
func (v wholeValue) Type() string { return v.name }
func (v wholeValue) Set(s string) error {
	n, err := strconv.Atoi(strings.TrimSpace(s))
	if err != nil {
		return errors.New("not a whole number")
	}
	*v.to = n
	return nil
}

type seedValue struct{ to *uint64 }

func (v seedValue) String() string {
	if v.to == nil || *v.to == 0 {
		return ""
	}
	return strconv.FormatUint(*v.to, 10)
}
func (v seedValue) Type() string { return "NUMBER" }
func (v seedValue) Set(s string) error {
	n, err := strconv.ParseUint(strings.TrimSpace(s), 10, 64)
	if err != nil {
		return errors.New("not a whole number of 0 or more")
	}
	*v.to = n
	return nil
}

type numberValue struct {
	to   *float64
	name string
}

func (v numberValue) String() string {
	if v.to == nil || *v.to == 0 {
		return ""
	}
	return strconv.FormatFloat(*v.to, 'f', -1, 64)
}
func (v numberValue) Type() string { return v.name }
func (v numberValue) Set(s string) error {
	x, err := parseNumber(s)
	if err != nil {
		return err
	}
	*v.to = x
	return nil
}

type numbersValue struct {
	to   *[]float64
	name string
}

func (v numbersValue) String() string { return "" }
func (v numbersValue) Type() string   { return v.name }
func (v numbersValue) Set(s string) error {
	var out []float64
	for _, word := range strings.Split(s, ",") {
		x, err := parseNumber(word)
		if err != nil {
			return fmt.Errorf("%q is %w", strings.TrimSpace(word), err)
		}
		out = append(out, x)
	}
	*v.to = out
	return nil
}

func parseNumber(s string) (float64, error) {
	x, err := strconv.ParseFloat(strings.TrimSpace(s), 64)
	if err != nil || math.IsNaN(x) || math.IsInf(x, 0) {
		return 0, errors.New("not a number")
	}
	return x, nil
}

// atMostOne lets a command have one argument or none.
func atMostOne(cmd *cobra.Command, args []string) error {
	if len(args) > 1 {
		return fmt.Errorf("%s: takes one argument, not %d: %s", cmd.Name(), len(args), strings.Join(args, " "))
	}
	return nil
}
