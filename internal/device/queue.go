package device

import "time"

// QueueSchema names the published JSON document of a queue.
const QueueSchema = "printround.queue/1"

// QueueReading is a queue at one moment, on a device or on a print server.
type QueueReading struct {
	At        time.Time `json:"at"`
	URI       Text      `json:"uri"` // where it was read, with the address in it
	Name      Text      `json:"name"`
	MakeModel Text      `json:"make_model"`
	Serial    Text      `json:"serial"`
	Location  Text      `json:"location"`
	Role      Role      `json:"role"`

	State     Text       `json:"printer_state"`         // idle, processing, stopped (RFC 8011 section 5.4.11)
	Reasons   []string   `json:"printer_state_reasons"` // as reported, with suffixes, without none
	Message   Text       `json:"printer_state_message"`
	Accepting *bool      `json:"accepting"`        // printer-is-accepting-jobs
	Queued    *int       `json:"queued"`           // queued-job-count; may be more than the jobs listed
	Speed     *int64     `json:"pages_per_minute"` // of the printer
	Jobs      []QueueJob `json:"jobs"`             // not completed, the next one first
}

// QueueJob is a job with what tells whether it moves.
type QueueJob struct {
	Job
	Total   *int64 `json:"pages"`              // job-impressions: of the whole job
	Sheets  *int64 `json:"sheets_done"`        // job-media-sheets-completed
	Octets  *int64 `json:"k_octets_processed"` // job-k-octets-processed
	ActiveS *int64 `json:"processing_s"`       // since time-at-processing; nil: not begun, or not told
	Message Text   `json:"message"`            // job-state-message
}

// QueueVerdict says how a queue is doing.
type QueueVerdict string

// Queue verdicts.
const (
	QueueMoving  QueueVerdict = "moving"
	QueueWaiting QueueVerdict = "waiting" // for the device, or for somebody to release a job
	QueueStalled QueueVerdict = "stalled" // nothing moves, and the device is not the reason
	QueueEmpty   QueueVerdict = "empty"
)

// QueueReport is what two readings of a queue say.
type QueueReport struct {
	Schema    string       `json:"schema"`
	Verdict   QueueVerdict `json:"verdict"`
	Why       []string     `json:"why"`          // what led to the verdict, the deciding fact first
	Blocking  *int         `json:"blocking_job"` // job-id; nil: none blocks
	Steps     []string     `json:"steps"`        // what to do, in order
	First     time.Time    `json:"first_at"`     // of the two readings; the second is at
	IntervalS int          `json:"interval_s"`   // between them; 0: one reading was enough
	QueueReading
}
