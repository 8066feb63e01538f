package device

import "time"

// SettingsSchema and SettingsDiffSchema name the published JSON documents of
// the settings of one device and of the difference between two.
const (
	SettingsSchema     = "printround.settings/1"
	SettingsDiffSchema = "printround.settings-diff/1"
)

// SettingVerdict says how a setting stands.
type SettingVerdict string

// Verdicts on a setting.
const (
	SettingFits      SettingVerdict = "fits"
	SettingDiffers   SettingVerdict = "differs"
	SettingNotJudged SettingVerdict = "not-judged" // its facts are missing
	SettingNoNorm    SettingVerdict = "no-norm"    // told, and nothing says how it should be
)

// Setting is one setting of a device.
type Setting struct {
	Name    string         `json:"setting"`
	Value   Text           `json:"value"` // as the device tells it; null: not known
	Norm    Text           `json:"norm"`  // as it should be; null: no norm
	Verdict SettingVerdict `json:"verdict"`
	Impact  *Impact        `json:"impact"` // of what differs; null: nothing differs
	Codes   []string       `json:"codes"`  // of the findings that say so
	Why     []string       `json:"why"`    // what differs, or what is missing
}

// Audit is how a device is set, beside how it should be.
type Audit struct {
	Schema     string    `json:"schema"`
	Key        string    `json:"key"`
	Name       Text      `json:"name"`
	MakeModel  Text      `json:"make_model"`
	Serial     Text      `json:"serial"`
	Location   Text      `json:"location"`
	Site       Text      `json:"site"`
	ObservedAt time.Time `json:"observed_at"`
	Settings   []Setting `json:"settings"`
	Findings   []Finding `json:"findings"` // about settings, worst first
}

// SettingsDiff is how two devices are set differently.
type SettingsDiff struct {
	Schema  string          `json:"schema"`
	A       SettingsOf      `json:"a"`
	B       SettingsOf      `json:"b"`
	Differ  []SettingDiffer `json:"different"`
	Same    []string        `json:"same"`         // settings with the same value
	Unknown []string        `json:"not_compared"` // settings that one of them does not tell
}

// SettingsOf names one of two devices.
type SettingsOf struct {
	Key       string `json:"key"`
	Name      Text   `json:"name"`
	MakeModel Text   `json:"make_model"`
	Serial    Text   `json:"serial"`
	Location  Text   `json:"location"`
}

// SettingDiffer is one setting with another value on each device.
type SettingDiffer struct {
	Name string `json:"setting"`
	A    Text   `json:"a"`
	B    Text   `json:"b"`
}
