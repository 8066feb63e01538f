package visit

import (
	"iter"
	"time"

	"printround/internal/device"
)

// Schema names the published JSON document.
const Schema = "printround.visit/1"

// Plan is what to do about the devices of a survey: whom to call, where to go,
// what to bring.
type Plan struct {
	Schema        string      `json:"schema"`
	Made          time.Time   `json:"made"`
	Surveyed      time.Time   `json:"surveyed"` // the moment that the survey speaks of
	Partial       bool        `json:"partial"`  // of the survey: devices may be missing
	PartialReason device.Text `json:"partial_reason"`
	Site          device.Text `json:"site"`
	HorizonDays   int         `json:"horizon_days"` // until the next visit, and again until the one after it
	// BringProbability is the chance of being needed before the visit after next
	// from which a part is brought.
	BringProbability float64 `json:"bring_probability"`
	Devices          int     `json:"devices"`  // looked at, shared queues left out
	Forecast         int     `json:"forecast"` // of them with a forecast

	ByPhone []Task `json:"by_phone"`
	Visit   []Stop `json:"visit"`
	Watch   []Task `json:"watch"`
	Parts   []Part `json:"parts"`
	LookAt  []Look `json:"look_at"`

	Minutes      int `json:"minutes"`        // at the devices of all stops; the way is not counted
	PhoneMinutes int `json:"phone_minutes"`  // of the calls
	IfNotMinutes int `json:"if_not_minutes"` // more at devices where no call helps
}

// Tasks are those that somebody does, calls first; what is only watched is not
// among them.
func (p *Plan) Tasks() iter.Seq[*Task] {
	return func(yield func(*Task) bool) {
		for i := range p.ByPhone {
			if !yield(&p.ByPhone[i]) {
				return
			}
		}
		for i := range p.Visit {
			for k := range p.Visit[i].Devices {
				for n := range p.Visit[i].Devices[k].Tasks {
					if !yield(&p.Visit[i].Devices[k].Tasks[n]) {
						return
					}
				}
			}
		}
	}
}

// Task is one thing to do at one device.
type Task struct {
	Key      string        `json:"key"`
	Device   string        `json:"device"` // what people call it
	Model    device.Text   `json:"model"`
	Site     device.Text   `json:"site"`
	Where    device.Text   `json:"where"`
	Call     device.Text   `json:"call"` // whom, by phone only
	Code     string        `json:"code"`
	Impact   device.Impact `json:"impact"`
	Summary  string        `json:"summary"`
	Step     device.Text   `json:"step"`      // the first of Steps
	Steps    []string      `json:"steps"`     // by phone: the words to say
	Ahead    int           `json:"ahead"`     // of a visit: so many of Steps can be told by phone beforehand
	Later    []string      `json:"later"`     // by phone: what is left for somebody trained
	IfNot    device.Text   `json:"if_not"`    // by phone: what follows when it does not help
	FromDesk bool          `json:"from_desk"` // by phone: a setting, made by whoever administers the device
	Who      device.Who    `json:"who"`
	Minutes  int           `json:"minutes"`
	Caution  device.Text   `json:"caution"`
	Part     *Needed       `json:"part"` // nil: none
	Also     []Other       `json:"also"` // other findings that this cures
	// Probability is the chance that the supply or part ends before the visit
	// after next; nil: no forecast.
	Probability *float64 `json:"probability"`
	ByNext      *float64 `json:"probability_by_next"` // the same before the next visit
	Urgency     int      `json:"urgency"`             // of the device
	Stale       bool     `json:"stale"`               // to watch: the present state contradicts it
}

// Other is a finding that the task of another cures.
type Other struct {
	Code    string `json:"code"`
	Summary string `json:"summary"`
}

// Needed is a part that a task needs.
type Needed struct {
	Part   string      `json:"part"`        // class
	Number device.Text `json:"part_number"` // from the catalogue
	Name   device.Text `json:"name"`        // from the catalogue
	Color  device.Text `json:"color"`
	Bring  bool        `json:"bring"` // it is on the list of parts
	Sure   bool        `json:"sure"`  // false: only what is found there will tell
}

// Stop is one place to go to.
type Stop struct {
	Site     device.Text  `json:"site"`
	Location device.Text  `json:"location"` // empty: not known
	Minutes  int          `json:"minutes"`
	Devices  []StopDevice `json:"devices"`
}

// StopDevice is one device of a stop.
type StopDevice struct {
	Key       string           `json:"key"`
	Device    string           `json:"device"`
	Model     device.Text      `json:"model"`
	Where     device.Text      `json:"where"`
	Attention device.Attention `json:"attention"`
	Urgency   int              `json:"urgency"`
	Tasks     []Task           `json:"tasks"`
	// Deliver are parts for what somebody on site does by phone: to be left
	// there, or fitted where the call did not help.
	Deliver []Needed `json:"deliver"`
}

// Part is one line of the list of parts to bring.
type Part struct {
	Part        string      `json:"part"`
	Number      device.Text `json:"part_number"`
	Name        device.Text `json:"name"`
	Model       device.Text `json:"model"` // several that take it are joined by commas
	Color       device.Text `json:"color"`
	Quantity    int         `json:"quantity"`
	Sure        bool        `json:"sure"`
	Probability *float64    `json:"probability"` // the greatest behind it; nil: a finding alone put it here
	Because     []string    `json:"because"`
}

// Look names the supplies of a device whose level nobody knows.
type Look struct {
	Key      string       `json:"key"`
	Device   string       `json:"device"`
	Site     device.Text  `json:"site"`
	Where    device.Text  `json:"where"`
	OnTheWay bool         `json:"on_the_way"` // the plan has a stop there
	Supplies []LookSupply `json:"supplies"`
}

// LookSupply is one of them.
type LookSupply struct {
	Index  int                `json:"index"`
	Name   string             `json:"name"`
	Reason device.LevelReason `json:"reason"`
}
