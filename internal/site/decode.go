package site

import (
	"bytes"
	"errors"
	"fmt"
	"regexp"
	"strings"

	"github.com/pelletier/go-toml/v2"
)

// The file as it is written. Pointers tell "not stated" from zero.
type rawFile struct {
	HorizonDays *int               `toml:"horizon_days"`
	Thresholds  rawThresholds      `toml:"thresholds"`
	Weights     map[string]float64 `toml:"weights"`
	Report      rawReport          `toml:"report"`
	Parts       []rawPart          `toml:"part"`
	Models      []rawModel         `toml:"model"`
	Sites       []rawSite          `toml:"site"`
}

type rawThresholds struct {
	ConsumableLow    *float64 `toml:"consumable_low"`
	LongLifeLow      *float64 `toml:"long_life_low"`
	WasteLow         *float64 `toml:"waste_low"`
	TrayLow          *float64 `toml:"tray_low"`
	QueueWaitMin     *int     `toml:"queue_wait_minutes"`
	ClockOffMin      *int     `toml:"clock_off_minutes"`
	CertificateDays  *int     `toml:"certificate_days"`
	BringProbability *float64 `toml:"bring_probability"`
}

type rawReport struct {
	Dir      *string `toml:"dir"`
	History  *string `toml:"history"`
	KeepDays *int    `toml:"keep_days"`
}

type rawPart struct {
	Model    string `toml:"model"`
	Supply   string `toml:"supply"`
	Colorant string `toml:"colorant"`
	Number   string `toml:"number"`
	Name     string `toml:"name"`
}

type rawModel struct {
	Match         string       `toml:"match"`
	PagesPerMonth *int         `toml:"pages_per_month"`
	Rollers       []rawRoller  `toml:"roller"`
	Services      []rawService `toml:"service"`
}

type rawRoller struct {
	Name        string   `toml:"name"`
	DiameterMM  *float64 `toml:"diameter_mm"`
	ToleranceMM *float64 `toml:"tolerance_mm"`
	Part        string   `toml:"part"`
}

type rawService struct {
	Part  string `toml:"part"`
	Pages *int   `toml:"pages"`
}

type rawSite struct {
	Name                string          `toml:"name"`
	Location            string          `toml:"location"`
	Contact             string          `toml:"contact"`
	Targets             []string        `toml:"targets"`
	Skip                []string        `toml:"skip"`
	ExpectedMedia       []string        `toml:"expected_media"`
	ExpectedOrientation string          `toml:"expected_orientation"`
	ExpectedLanguages   []string        `toml:"expected_languages"`
	Norms               []rawNorm       `toml:"norm"`
	Credentials         []rawCredential `toml:"credential"`
	Devices             []rawDevice     `toml:"device"`
}

type rawCredential struct {
	Label         string `toml:"label"`
	Version       string `toml:"version"`
	CommunityFile string `toml:"community_file"`
	CommunityEnv  string `toml:"community_env"`
	User          string `toml:"user"`
	AuthProtocol  string `toml:"auth_protocol"`
	AuthFile      string `toml:"auth_file"`
	AuthEnv       string `toml:"auth_env"`
	PrivProtocol  string `toml:"priv_protocol"`
	PrivFile      string `toml:"priv_file"`
	PrivEnv       string `toml:"priv_env"`
	Context       string `toml:"context"`
}

type rawDevice struct {
	Address  string `toml:"address"`
	Key      string `toml:"key"`
	Name     string `toml:"name"`
	Location string `toml:"location"`
	Sole     bool   `toml:"sole"`
}

// decode turns TOML into the raw file. The library's own multi-line messages
// quote the document around an error, where somebody may have put a secret by
// mistake; only position, key and the plain message are used.
func decode(path string, content []byte) (*rawFile, error) {
	var raw rawFile
	d := toml.NewDecoder(bytes.NewReader(content))
	d.DisallowUnknownFields()
	err := d.Decode(&raw)
	if err == nil {
		return &raw, nil
	}
	var missing *toml.StrictMissingError
	if errors.As(err, &missing) {
		var errs []error
		for i := range missing.Errors {
			line, col := missing.Errors[i].Position()
			errs = append(errs, &Error{path, line, col, unknownKey(missing.Errors[i].Key())})
		}
		return nil, errors.Join(errs...)
	}
	var de *toml.DecodeError
	if errors.As(err, &de) {
		line, col := de.Position()
		if line == 1 && col == 1 { // also what it says when it does not know
			if at := locate(content).key(strings.Join(de.Key(), ".")); at.line > 0 {
				line, col = at.line, at.col
			}
		}
		return nil, &Error{path, line, col, plain(de.Error(), de.Key())}
	}
	return nil, &Error{path, 0, 0, plain(err.Error(), nil)}
}

// secretKeys are what people write when they want to put a secret into the
// file itself.
var secretKeys = map[string]string{
	"community": "community", "password": "auth", "passphrase": "auth",
	"auth_password": "auth", "auth_passphrase": "auth", "auth_pass": "auth", "auth_secret": "auth",
	"priv_password": "priv", "priv_passphrase": "priv", "priv_pass": "priv", "priv_secret": "priv",
}

func unknownKey(key toml.Key) string {
	name := strings.Join(key, ".")
	if len(key) > 0 {
		if what, ok := secretKeys[key[len(key)-1]]; ok {
			return fmt.Sprintf("unknown key %q: secrets are kept outside this file, name them by %s_file or %s_env", name, what, what)
		}
	}
	return fmt.Sprintf("unknown key %q", name)
}

// goNames matches what the library says about our Go types, which means
// nothing to the person who wrote the file.
var goNames = regexp.MustCompile(`cannot decode TOML ([a-z -]+) into (?:struct field \S+ of type |a Go value of type )?(\S+)$`)

var tomlWords = map[string]string{
	"string": "a string", "*string": "a string", "[]string": "a list of strings", "bool": "true or false",
	"int": "a whole number", "*int": "a whole number", "float64": "a number", "*float64": "a number",
	"site.rawThresholds": "a table", "site.rawReport": "a table", "map[string]float64": "a table of numbers",
	"site.rawSite": "a table, written [[site]]", "[]site.rawSite": "tables, written [[site]]",
	"site.rawCredential": "a table, written [[site.credential]]", "[]site.rawCredential": "tables, written [[site.credential]]",
	"site.rawDevice": "a table, written [[site.device]]", "[]site.rawDevice": "tables, written [[site.device]]",
	"site.rawNorm": "a table, written [[site.norm]]", "[]site.rawNorm": "tables, written [[site.norm]]",
	"site.rawNormTray": "a table, written [[site.norm.tray]]", "[]site.rawNormTray": "tables, written [[site.norm.tray]]",
	"site.rawPart": "a table, written [[part]]", "[]site.rawPart": "tables, written [[part]]",
	"site.rawModel": "a table, written [[model]]", "[]site.rawModel": "tables, written [[model]]",
	"site.rawRoller": "a table, written [[model.roller]]", "[]site.rawRoller": "tables, written [[model.roller]]",
	"site.rawService": "a table, written [[model.service]]", "[]site.rawService": "tables, written [[model.service]]",
}

// plain makes the library's message one line about the file, not about Go.
func plain(message string, key toml.Key) string {
	message = strings.TrimPrefix(message, "toml: ")
	message = strings.Join(strings.Fields(message), " ")
	if m := goNames.FindStringSubmatch(message); m != nil {
		want, ok := tomlWords[m[2]]
		if !ok {
			want = "something else"
		}
		message = fmt.Sprintf("this is %s %s, wanted %s", article(m[1]), m[1], want)
	}
	if len(key) > 0 && !strings.HasPrefix(message, "key ") {
		return fmt.Sprintf("%s: %s", strings.Join(key, "."), message)
	}
	return message
}

func article(word string) string {
	if strings.ContainsAny(word[:1], "aeiou") {
		return "an"
	}
	return "a"
}
