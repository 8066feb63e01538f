package finding

import (
	"cmp"
	"slices"
	"strings"

	"printround/internal/device"
)

// cluster is what several sources say of one condition at one part: one
// finding in the making. The first sighting leads.
type cluster struct {
	seen  []*sighting
	raise string // why its impact is worse than any of its sightings; empty: it is not
}

// stale reports that every sighting is contradicted.
func (c *cluster) stale() bool {
	return !slices.ContainsFunc(c.seen, func(s *sighting) bool { return !s.stale })
}

// past reports that nothing in it is known to hold now.
func (c *cluster) past() bool {
	return !slices.ContainsFunc(c.seen, func(s *sighting) bool { return !s.stale && !s.past })
}

// impact is the worst of the sightings that hold.
func (c *cluster) impact() device.Impact {
	if c.raise != "" {
		return device.ImpactStopped
	}
	return c.worst().impact
}

// worst returns the sighting that decides: among those that hold, the worst
// impact, then the nearest end.
func (c *cluster) worst() *sighting {
	return slices.MinFunc(c.seen, func(a, b *sighting) int {
		return cmp.Or(
			cmp.Compare(rankBool(a.stale), rankBool(b.stale)),
			cmp.Compare(a.impact.Rank(), b.impact.Rank()),
			cmp.Compare(rankBool(b.gauged), rankBool(a.gauged)),
			cmp.Compare(b.near, a.near),
			strings.Compare(a.keyword, b.keyword),
		)
	})
}

// stage returns the latest stage among the sightings that hold.
func (c *cluster) stage() int {
	stage := 0
	for _, s := range c.seen {
		if !s.stale && s.condition.Stage > stage {
			stage = s.condition.Stage
		}
	}
	return stage
}

// merge brings the sightings together: those that name the same part first,
// then those that name none, which join the parts they can only mean.
func merge(j *judge) []*cluster {
	j.sort()
	var parts, wholes []*cluster
	var loose []*sighting
	for _, s := range j.seen {
		if !s.specific() {
			loose = append(loose, s)
			continue
		}
		i := slices.IndexFunc(parts, func(c *cluster) bool {
			p := c.seen[0]
			return p.family == s.family && p.sub.Group == s.sub.Group && p.sub.Index == s.sub.Index
		})
		if i < 0 {
			parts = append(parts, &cluster{seen: []*sighting{s}})
			continue
		}
		parts[i].seen = append(parts[i].seen, s)
	}
	// The more exact, the later stage first, so that the vague ones find them.
	slices.SortStableFunc(loose, func(a, b *sighting) int {
		return cmp.Or(
			cmp.Compare(rankBool(strings.Contains(b.family, ":")), rankBool(strings.Contains(a.family, ":"))),
			cmp.Compare(rankBool(a.subject.Generic), rankBool(b.subject.Generic)),
			cmp.Compare(b.condition.Stage, a.condition.Stage),
		)
	})
	for _, s := range loose {
		if targets := j.meant(parts, s); len(targets) > 0 {
			for _, c := range targets {
				joined := *s
				c.seen = append(c.seen, &joined)
			}
			continue
		}
		i := slices.IndexFunc(wholes, func(c *cluster) bool {
			first := c.seen[0]
			return sameThing(first, s) && first.condition.Stage == s.condition.Stage &&
				(first.sub.Group == s.sub.Group || s.condition.Nature == "unnamed")
		})
		if i < 0 {
			wholes = append(wholes, &cluster{seen: []*sighting{s}})
			continue
		}
		wholes[i].seen = append(wholes[i].seen, s)
	}
	return append(parts, wholes...)
}

// sort puts the sightings into an order of their own, so that no judgement
// depends on the order in which a device lists things.
func (j *judge) sort() {
	slices.SortStableFunc(j.seen, func(a, b *sighting) int {
		return cmp.Or(
			strings.Compare(a.keyword, b.keyword),
			strings.Compare(a.sub.Group, b.sub.Group),
			cmp.Compare(a.sub.Index, b.sub.Index),
			strings.Compare(string(a.proof.Source), string(b.proof.Source)),
			strings.Compare(a.proof.Object, b.proof.Object),
			strings.Compare(a.proof.Value, b.proof.Value),
			strings.Compare(a.text, b.text),
		)
	})
}

// sameThing reports that two sightings can be about one condition: the same
// family, and variants that do not exclude each other.
func sameThing(a, b *sighting) bool {
	if a.family != b.family && !strings.HasPrefix(a.family, b.family+":") && !anyLife(a, b) {
		return false
	}
	return a.subject.Variant == b.subject.Variant || a.subject.Generic || b.subject.Generic ||
		a.subject.Variant == "" || b.subject.Variant == ""
}

// anyLife reports that b says that the life of some subunit is over, and a that
// the life of a certain part is.
func anyLife(a, b *sighting) bool {
	return b.subject.Prefix == "subunit" && b.family == "derived/service" && a.condition.Family == "life"
}

// meant returns the parts that a sighting without a part is about. Those at
// the same stage are; failing them, a mild word goes with what is already
// worse. A word worse than all that is known of the parts belongs to the worst
// of them only when no other part could be meant.
func (j *judge) meant(parts []*cluster, s *sighting) []*cluster {
	if s.condition.Nature == "rule" {
		return nil // a conclusion about the device as a whole
	}
	var equal, later, earlier []*cluster
	for _, c := range parts {
		if c.stale() || !slices.ContainsFunc(c.seen, func(p *sighting) bool { return sameThing(p, s) }) {
			continue
		}
		switch stage := c.stage(); {
		case stage == s.condition.Stage || stage == 0 || s.condition.Stage == 0:
			equal = append(equal, c)
		case stage > s.condition.Stage:
			later = append(later, c)
		default:
			earlier = append(earlier, c)
		}
	}
	switch {
	case len(equal) > 0:
		return equal
	case len(later) > 0:
		return later
	case len(earlier) > 0 && s.sub.Group == "markerSupplies" && !j.supplyUnknown(s):
		slices.SortStableFunc(earlier, func(a, b *cluster) int { return cmp.Compare(a.percent(), b.percent()) })
		return earlier[:1]
	}
	return nil
}

// percent returns the lowest level behind the cluster, 100 when there is none.
func (c *cluster) percent() float64 {
	p := 100.0
	for _, s := range c.seen {
		if s.percent != nil && *s.percent < p {
			p = *s.percent
		}
	}
	return p
}
