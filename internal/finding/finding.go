// Package finding judges a device: it gathers the conditions that the device
// and the tool's own rules name, makes one finding of what several sources say
// of the same thing, gives each an impact, a weight and advice, and ranks the
// devices. Conditions are named by the keywords of printer-state-reasons
// (RFC 8011 section 5.4.12, PWG 5100.9), onto which the alert codes of the
// Printer MIB (RFC 3805) map. It reads facts only and touches no network.
package finding

import (
	"cmp"
	"slices"
	"strings"

	"printround/internal/device"
)

// judge is one judgement in the making.
type judge struct {
	d       *device.Device
	o       Options
	norm    device.Norm // of this model
	stopped bool        // the device as a whole says that it cannot print
	tech    technology
	seen    []*sighting
	gaps    []string // what could not be judged
}

// Judge fills the judged part of the device from its facts: findings, worst
// first, what could not be judged, the attention level, the urgency, and the
// conditions and the overall row of its state. Any earlier judgement is
// replaced.
func Judge(d *device.Device, o Options) {
	norm := device.NormFor(o.Norms, string(d.MakeModel))
	o.follow(&norm)
	j := &judge{d: d, o: o, norm: norm, stopped: saysStopped(&d.State), tech: technologyOf(d)}
	d.State.Overall = device.Text(Overall(string(d.State.Device), string(d.State.Printer), d.State.ErrorBits))
	answered := d.Reached.SNMP.OK || d.Reached.IPP.OK
	if answered {
		j.gather()
	} else {
		j.noAnswer()
	}
	clusters := merge(j)
	if answered {
		clusters = j.account(clusters)
	}
	j.conclude(clusters)
	d.NotJudged = j.notJudged(answered)
}

// gather sees every source. The alerts come last: whether one still holds is
// told by the others.
func (j *judge) gather() {
	j.state()
	j.reasons()
	j.errorBits()
	j.supplies()
	j.trays()
	j.outputs()
	j.covers()
	j.finishers()
	j.storage()
	j.queue()
	j.defaults()
	j.languages()
	j.settings()
	j.reading()
	j.alerts()
	j.statuses()
}

// conclude makes the findings of the clusters and the device's place in the
// ranking.
func (j *judge) conclude(clusters []*cluster) {
	d := j.d
	d.Findings = make([]device.Finding, 0, len(clusters))
	holding := map[string]bool{}
	stops := slices.ContainsFunc(clusters, func(c *cluster) bool { return !c.stale() && c.impact() == device.ImpactStopped })
	for _, c := range clusters {
		f := j.finding(c, stops)
		d.Findings = append(d.Findings, f)
		if !f.Stale && !c.past() {
			holding[f.Code] = true
		}
	}
	slices.SortStableFunc(d.Findings, worstFirst)
	d.State.Conditions = make([]string, 0, len(holding))
	for code := range holding {
		d.State.Conditions = append(d.State.Conditions, code)
	}
	slices.Sort(d.State.Conditions)
	d.Attention, d.Urgency = urgency(d)
}

// worstFirst orders findings: those that hold before stale ones, then impact,
// weight, and what they are about, so that the order never depends on the
// order of the sources.
func worstFirst(a, b device.Finding) int {
	return cmp.Or(
		cmp.Compare(rankBool(a.Stale), rankBool(b.Stale)),
		cmp.Compare(a.Impact.Rank(), b.Impact.Rank()),
		cmp.Compare(b.Weight, a.Weight),
		strings.Compare(a.Code, b.Code),
		strings.Compare(a.Subunit.Group, b.Subunit.Group),
		cmp.Compare(a.Subunit.Index, b.Subunit.Index),
		strings.Compare(a.Summary, b.Summary),
	)
}
