package main

import (
	"strings"

	"github.com/spf13/cobra"

	"printround/internal/device"
	"printround/internal/proof"
)

// sidesWords are the values of the IPP attribute sides (RFC 8011 section
// 5.2.8).
var sidesWords = []string{"one-sided", "two-sided-long-edge", "two-sided-short-edge"}

const proofHelp = `Prints one page that shows how a device prints: frame, rulers and margins,
density, hairlines, text, a rub test, even areas and bands, a strong pattern with
clear fields for ghosts and repeating marks, and on colour devices solids,
register and colour patches with their sRGB and CIELAB values. What to look for
is printed beside each element, with the name of the symptom.

It reads the device first, asks whether it would take the job (Validate-Job),
says what it will print on which device, and asks; where there is nobody to ask
it wants --yes. Then it sends the page once, by IPP, and follows the job to its
end. Nothing is ever sent twice: if the connection is lost meanwhile, look at the
device before you print again. Nothing secret is on the page.

The page language is the first of pdf, pwg-raster, postscript and text that the
device lists. --as takes another one: the same page in several languages tells a
wrong driver from a faulty device. The medium is the device's default if that is
loaded, else A4, Letter, or what is ready. On rolls and labels nothing is printed
unless --media names them. A small sheet has the elements that fit.

--out writes the page into a file instead of sending it; without a DEVICE it is a
colour page on A4, or on --media.

--read prints nothing. It asks what you see on a page, element by element, and
shows for each symptom the likely causes, what to try first and how to prove the
fix, with the facts of the DEVICE if one is given.

Exit status:
  0  printed, written, or read to its end
  1  failed, refused, declined or interrupted; or the job did not come to a good end
  2  usage
  5  no answer
`

const proofExamples = `  printround proof 10.1.2.17
  printround proof 10.1.2.17 --sides two-sided-long-edge --tray tray-2
  printround proof 10.1.2.17 --as postscript
  printround proof 10.1.2.17 --media na_letter_8.5x11in --yes
  printround proof --read 10.1.2.17
  printround proof --out page.pdf
  printround proof --lab meeting          (printround lab --list shows the names)`

func newProof(a *app) *cobra.Command {
	var flags lookFlags
	var f proofFlags
	cmd := &cobra.Command{
		Use:     "proof [DEVICE]",
		Short:   "Print a diagnostic page on a device, follow it to its end, and go from what is seen to causes",
		Long:    proofHelp,
		Example: proofExamples,
		Args:    arguments(0, 1, "at most one device: an address, host name, name, serial number or key"),
		RunE: func(cmd *cobra.Command, args []string) error {
			if err := f.check(cmd, &flags, args); err != nil {
				return err
			}
			if f.read {
				return runProofRead(cmd.Context(), a, cmd, args, &flags)
			}
			return runProof(cmd.Context(), a, args, &f, &flags)
		},
	}
	fl := cmd.Flags()
	fl.SortFlags = false
	fl.StringVar(&f.as, "as", "", "send the page as "+device.Listed(proof.Formats()))
	complete(cmd, "as", proof.Formats())
	fl.StringVar(&f.wish.Media, "media", "", "print on this `medium`, such as iso_a4_210x297mm")
	fl.StringVar(&f.wish.Tray, "tray", "", "print from this `tray`: a media-source keyword or the device's own name")
	fl.StringVar(&f.wish.Sides, "sides", "", device.Listed(sidesWords))
	complete(cmd, "sides", sidesWords)
	fl.StringVar(&flags.show.out, "out", "", "write the page into `FILE`, whole or not at all, instead of sending it")
	fl.BoolVar(&f.yes, "yes", false, "print without asking first")
	fl.BoolVar(&f.read, "read", false, "print nothing: ask what is seen on a page, and name the causes")
	flags.add(cmd, false)
	fl.StringVar(&flags.show.from, "from", "", "earlier survey in JSON: `FILE` to know devices from; with --read it is not asked again")
	fl.BoolVar(&flags.show.plain, "plain", false, "plain ASCII, no colour")
	return cmd
}

// check refuses flags that cannot be meant.
func (f *proofFlags) check(cmd *cobra.Command, flags *lookFlags, args []string) error {
	if err := flags.reach.check(false); err != nil {
		return err
	}
	if err := flags.choose.checkLab(cmd, "from"); err != nil {
		return err
	}
	changed := cmd.Flags().Changed
	if f.read {
		for _, n := range []string{"as", "media", "tray", "sides", "out", "yes"} {
			if changed(n) {
				return usagef("--read prints nothing: leave out --%s", n)
			}
		}
	}
	switch {
	case flags.choose.lab && len(args) == 0:
		return usagef("--lab needs the name of a device; printround lab --list shows the names")
	case flags.show.from != "" && len(args) == 0:
		return usagef("--from needs a device: which one of the survey is it?")
	case flags.reach.noIPP && !f.read:
		return usagef("a page is sent over IPP: leave out --no-ipp")
	case len(args) == 0 && !f.read && flags.show.out == "":
		return &usageError{message: "on which device?", hint: "printround proof ADDRESS, or --out FILE for a page in a file"}
	case flags.show.out != "" && f.yes:
		return usagef("--out writes a file and asks nothing: leave out --yes")
	}
	if changed("sides") {
		if _, err := oneOf("sides", f.wish.Sides, ": wanted", sidesWords); err != nil {
			return err
		}
	}
	for _, n := range []string{"as", "media", "tray"} {
		if changed(n) && strings.TrimSpace(cmd.Flags().Lookup(n).Value.String()) == "" {
			return usagef("--%s is empty", n)
		}
	}
	if f.as != "" {
		var err error
		if f.wish.As, err = oneOf("as", f.as, ": a page is made as", proof.Formats()); err != nil {
			return err
		}
	}
	return flags.show.checkOut()
}
