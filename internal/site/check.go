package site

import (
	"fmt"
	"math"
	"net/netip"
	"path/filepath"
	"slices"
	"strings"

	"printround/internal/device"
)

// checker holds the rules that the decoder cannot know.
type checker struct {
	path string
	at   positions
	errs []error
}

func (c *checker) fail(where, format string, args ...any) {
	p := c.at.of(where)
	c.errs = append(c.errs, &Error{c.path, p.line, p.col, fmt.Sprintf(format, args...)})
}

func (c *checker) file(raw *rawFile) *File {
	f := &File{Path: c.path, Weights: raw.Weights, Thresholds: Thresholds(raw.Thresholds)}
	if raw.HorizonDays != nil {
		f.HorizonDays = *raw.HorizonDays
		if f.HorizonDays < 1 || f.HorizonDays > 366 {
			c.fail("horizon_days", "horizon_days = %d: wanted 1 to 366 days", f.HorizonDays)
		}
	}
	c.percent("thresholds.consumable_low", f.Thresholds.ConsumableLow)
	c.percent("thresholds.long_life_low", f.Thresholds.LongLifeLow)
	c.percent("thresholds.waste_low", f.Thresholds.WasteLow)
	c.percent("thresholds.tray_low", f.Thresholds.TrayLow)
	c.whole("thresholds.queue_wait_minutes", f.Thresholds.QueueWaitMin, 1, 7*24*60)
	c.whole("thresholds.clock_off_minutes", f.Thresholds.ClockOffMin, 1, 7*24*60)
	c.whole("thresholds.certificate_days", f.Thresholds.CertificateDays, 0, 366)
	if p := f.Thresholds.BringProbability; p != nil && (math.IsNaN(*p) || *p < 0 || *p > 1) {
		c.fail("thresholds.bring_probability", "bring_probability = %v: wanted 0 to 1", *p)
	}
	f.Report = c.report(&raw.Report)
	f.Catalogue = c.catalogue(raw)
	for _, name := range sortedKeys(raw.Weights) {
		if w := raw.Weights[name]; math.IsNaN(w) || w < 0 || w > 1 {
			c.fail("weights."+name, "weight of %q is %v: wanted 0 to 1", name, w)
		}
	}
	if len(raw.Sites) == 0 {
		c.fail("", "no [[site]] in it: a site needs a name and targets")
	}
	names := map[string]bool{}
	for i := range raw.Sites {
		where := fmt.Sprintf("site[%d]", i)
		s := c.site(where, &raw.Sites[i])
		if names[s.Name] && s.Name != "" {
			c.fail(where+".name", "site %q is there twice: each site needs its own name", s.Name)
		}
		names[s.Name] = true
		f.Sites = append(f.Sites, s)
	}
	return f
}

func (c *checker) percent(where string, v *float64) {
	if v != nil && (math.IsNaN(*v) || *v < 0 || *v > 100) {
		c.fail(where, "%s = %v: wanted a percentage, 0 to 100", where[strings.LastIndexByte(where, '.')+1:], *v)
	}
}

// whole checks a whole number that was stated.
func (c *checker) whole(where string, v *int, least, most int) {
	if v != nil && (*v < least || *v > most) {
		c.fail(where, "%s = %d: wanted %d to %d", where[strings.LastIndexByte(where, '.')+1:], *v, least, most)
	}
}

// orientations are those of orientation-requested (RFC 8011 section 5.2.10)
// that a default can have.
var orientations = []string{"portrait", "landscape", "reverse-landscape", "reverse-portrait", AnyOrientation}

func (c *checker) site(where string, raw *rawSite) Site {
	s := Site{
		Name:          c.text(where+".name", raw.Name),
		Location:      c.text(where+".location", raw.Location),
		Contact:       c.text(where+".contact", raw.Contact),
		Targets:       c.targets(where+".targets", raw.Targets),
		Skip:          c.targets(where+".skip", raw.Skip),
		ExpectedMedia: c.words(where+".expected_media", raw.ExpectedMedia),

		ExpectedOrientation: strings.ToLower(strings.TrimSpace(raw.ExpectedOrientation)),
		ExpectedLanguages:   c.words(where+".expected_languages", raw.ExpectedLanguages),
		Norms:               c.norms(where, raw.Norms),
	}
	if o := s.ExpectedOrientation; o != "" && !slices.Contains(orientations, o) {
		c.fail(where+".expected_orientation", "expected_orientation %q: wanted one of %s", raw.ExpectedOrientation, strings.Join(orientations, ", "))
	}
	if s.Name == "" {
		c.fail(where, "a site without a name")
	}
	if len(raw.Targets) == 0 && len(raw.Devices) == 0 {
		c.fail(where, "site %q has neither targets nor devices", s.Name)
	}
	labels := map[string]bool{}
	for i := range raw.Credentials {
		at := fmt.Sprintf("%s.credential[%d]", where, i)
		r := c.credential(at, &raw.Credentials[i], i)
		if labels[r.credential.Label] {
			c.fail(at+".label", "credential %q is there twice in site %q", r.credential.Label, s.Name)
		}
		labels[r.credential.Label] = true
		s.credentials = append(s.credentials, r)
	}
	seen := map[string]bool{}
	for i := range raw.Devices {
		s.Expected = append(s.Expected, c.device(fmt.Sprintf("%s.device[%d]", where, i), &raw.Devices[i], s.Name, seen))
	}
	return s
}

// keyPrefixes are the kinds of alias that name a device.
var keyPrefixes = []string{"uuid:", "serial:", "mac:", "addr:"}

func (c *checker) device(where string, raw *rawDevice, site string, seen map[string]bool) device.Expected {
	e := device.Expected{
		Key:      strings.TrimSpace(raw.Key),
		Address:  strings.TrimSpace(raw.Address),
		Name:     c.text(where+".name", raw.Name),
		Location: c.text(where+".location", raw.Location),
		Site:     site,
		Sole:     raw.Sole,
	}
	if e.Key == "" && e.Address == "" {
		c.fail(where, "a device needs a key or an address")
	}
	if e.Key != "" && !hasAnyPrefix(e.Key, keyPrefixes) {
		c.fail(where+".key", "key %q: wanted one that begins with %s", e.Key, strings.Join(keyPrefixes, ", "))
	}
	if e.Address != "" && !oneHost(e.Address) {
		c.fail(where+".address", "address %q: wanted one IP address or host name", e.Address)
	}
	for _, id := range []string{"key " + e.Key, "address " + canonical(e.Address)} {
		if strings.HasSuffix(id, " ") {
			continue
		}
		if seen[id] {
			c.fail(where, "the device with %s is there twice", id)
		}
		seen[id] = true
	}
	return e
}

// text is a name for people. Control characters would spoil every output, and
// nobody writes them on purpose.
func (c *checker) text(where, s string) string {
	trimmed := strings.TrimSpace(s)
	clean := string(device.Clean(trimmed))
	if len(trimmed) > device.MaxText {
		c.fail(where, "longer than %d bytes", device.MaxText)
	} else if clean != strings.Join(strings.Fields(trimmed), " ") {
		c.fail(where, "control or invisible characters in a text")
	}
	return clean
}

func (c *checker) words(where string, list []string) []string {
	var out []string
	for i, s := range list {
		s = c.text(fmt.Sprintf("%s[%d]", where, i), s)
		if s == "" {
			c.fail(fmt.Sprintf("%s[%d]", where, i), "an empty text in the list")
			continue
		}
		out = append(out, s)
	}
	return out
}

// targets checks little: whether a target makes sense is said where targets
// are parsed, for the command line and for the site file alike.
func (c *checker) targets(where string, list []string) []string {
	out := c.words(where, list)
	for i, t := range out {
		if name, ok := strings.CutPrefix(t, "@"); ok {
			out[i] = "@" + c.beside(name)
		}
	}
	return out
}

// beside makes a relative path start at the folder of the site file.
func (c *checker) beside(name string) string {
	if filepath.IsAbs(name) {
		return name
	}
	return filepath.Join(filepath.Dir(c.path), name)
}

// oneHost accepts an address, with a zone where it has one, or something that
// can be a host name (RFC 1123 section 2.1; the underscore is common practice).
func oneHost(s string) bool {
	if _, err := netip.ParseAddr(s); err == nil {
		return true
	}
	if strings.Trim(s, "0123456789.") == "" || len(s) > 253 {
		return false
	}
	for _, label := range strings.Split(strings.TrimSuffix(s, "."), ".") {
		if label == "" || len(label) > 63 || label[0] == '-' || label[len(label)-1] == '-' {
			return false
		}
		for _, r := range label {
			if r >= 0x80 { // an internationalised name: the resolver decides
				continue
			}
			if !strings.ContainsRune("abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-_", r) {
				return false
			}
		}
	}
	return true
}

func canonical(address string) string {
	if a, err := netip.ParseAddr(address); err == nil {
		return a.Unmap().String()
	}
	return strings.ToLower(strings.TrimSuffix(address, "."))
}

func hasAnyPrefix(s string, prefixes []string) bool {
	for _, p := range prefixes {
		if len(s) > len(p) && strings.HasPrefix(s, p) {
			return true
		}
	}
	return false
}
