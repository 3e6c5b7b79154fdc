package main

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"

	"witnessmark/cmd/witnessmark/internal/tried"
	"witnessmark/device/capture"
	"witnessmark/device/suggest"
)

type wrenchSuggest struct {
	Capture string   `arg:"" help:"A capture file, as witnessmark wrench listen records it."`
	Shown   []string `required:"" sep:"none" help:"What the display showed of one pull; once for each pull, in their order." placeholder:"\"45.2 N·m, 31°\""`
	Out     string   `help:"Write the profile to this file, which must not exist yet." placeholder:"FILE"`
	Name    string   `help:"Name of the profile: letters a to z, digits and hyphens." default:"proposed"`
	Baud    int      `help:"How the port was set when the capture was recorded: bits a second," placeholder:"9600"`
	Bits    int      `help:"data bits," placeholder:"8" enum:"0,7,8" default:"0"`
	Parity  string   `help:"parity (none, odd, even, mark or space)," placeholder:"none" enum:",none,odd,even,mark,space" default:""`
	Stop    string   `help:"stop bits." placeholder:"1" enum:",1,1.5,2" default:""`
}

// Help is the long help of the command.
func (wrenchSuggest) Help() string {
	return `Proposes a profile for a wrench that has none. First record what it sends while
you pull it three to five times, about two seconds apart, each time to another
torque and angle, and write down what its display shows after each pull:

  witnessmark wrench listen ttyUSB0 --record my.capture \
    --wrench W1 --made-by "your name, the wrench, the date"

Then have a profile proposed, and see what it makes of the capture:

  witnessmark wrench suggest my.capture --out my-wrench.yaml \
    --shown "45.2 N·m, 31°" --shown "30.0 N·m, 87.5°" --shown "60.1 N·m, 12°"
  witnessmark wrench try my-wrench.yaml my.capture

A shown value is torque with its unit, then the angle if the display shows one,
then "loosening" if it was that. Leave a pull out when you are not sure of it.

The profile goes to the output or to --out; what could not be known goes to the
error output: look those things up in the wrench's manual, and correct the file.
It is only written if it decodes every shown value.

Exit code: 0 a profile was found, 1 none was, 2 bad input.`
}

// Run proposes a profile and says what it is unsure of.
func (c *wrenchSuggest) Run(s shop) error {
	var shown []suggest.Shown
	for _, text := range c.Shown {
		one, err := suggest.ParseShown(text)
		if err != nil {
			return inputError{err}
		}
		shown = append(shown, one)
	}
	if strings.Trim(c.Name, "abcdefghijklmnopqrstuvwxyz0123456789-") != "" || c.Name == "" || len(c.Name) > 40 {
		return inputError{fmt.Errorf("found the name %q, write at most 40 of a to z, 0 to 9 and -", c.Name)}
	}
	played, err := readCapture(s, c.Capture)
	if err != nil {
		return inputError{err}
	}
	p, err := suggest.Propose(played, shown, suggest.Asked{Name: c.Name, Baud: c.Baud, Bits: c.Bits, Parity: c.Parity, Stop: c.Stop})
	if err != nil {
		return err
	}
	if err := c.write(s.out, p.YAML); err != nil {
		return err
	}
	return c.explain(s.log, p)
}

// readCapture reads a recording, of one that breaks off what there is: it may still be written.
func readCapture(s shop, file string) (capture.Capture, error) {
	text, err := os.ReadFile(file)
	if err != nil {
		return capture.Capture{}, fmt.Errorf("read the capture: %w", err)
	}
	played, err := capture.Read(bytes.NewReader(text))
	if err == nil {
		return played, nil
	}
	torn, _, fatal := capture.ReadTorn(bytes.NewReader(text))
	if fatal != nil || len(torn.Chunks) == 0 {
		return capture.Capture{}, fmt.Errorf("%s: %w", file, err)
	}
	fmt.Fprintf(s.log, "%s: %v; what stands before that is used\n", file, err)
	return torn, nil
}

// write never overwrites a file: it may be one that a person has corrected by hand.
func (c *wrenchSuggest) write(out io.Writer, text string) error {
	if c.Out == "" {
		_, err := io.WriteString(out, text)
		return err
	}
	f, err := os.OpenFile(c.Out, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
	if errors.Is(err, os.ErrExist) {
		return inputError{fmt.Errorf("%s is there already: name another file, or move it away", c.Out)}
	}
	if err != nil {
		return inputError{fmt.Errorf("write the profile: %w", err)}
	}
	_, err = f.WriteString(text)
	return errors.Join(err, f.Close())
}

// explain says where the shown values were found and what is not known.
func (c *wrenchSuggest) explain(out io.Writer, p suggest.Proposal) error {
	var b strings.Builder
	b.WriteString("Found:\n")
	for _, f := range p.Found {
		for i, line := range tried.Wrap(fmt.Sprintf("%s: frame %d at %.3f s decodes to %s", f.Shown, f.Frame, f.At.Seconds(), tried.Words(f.Reading)), width-6) {
			fmt.Fprintf(&b, "  %s%s\n", map[bool]string{true: "✓ ", false: "  "}[i == 0], line)
		}
	}
	fmt.Fprintf(&b, "  Of all frames %d become readings, %d are refused and %d are passed over as no readings.\n", p.Readings, p.Refused, p.Ignored)
	if len(p.Unsure) > 0 {
		b.WriteString("\nNot known, look it up in the wrench's manual:\n")
	}
	for n, doubt := range p.Unsure {
		for i, line := range tried.Wrap(doubt, width-6) {
			fmt.Fprintf(&b, "  %s%s\n", map[bool]string{true: fmt.Sprintf("%d. ", n+1), false: strings.Repeat(" ", len(fmt.Sprint(n+1))+2)}[i == 0], line)
		}
	}
	if c.Out != "" {
		fmt.Fprintf(&b, "\nNow see what it makes of the capture:\n  witnessmark wrench try %s %s\n", c.Out, c.Capture)
	}
	_, err := io.WriteString(out, b.String())
	return err
}
