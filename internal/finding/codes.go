package finding

// Conditions that the tool concludes itself. All others are keywords of the
// IANA printer-state-reasons registry (PWG 5100.9, RFC 8011 section 5.4.12).
const (
	NoAnswer             = "derived-no-answer"             // a known device that answered nothing
	NoPrinter            = "derived-no-printer"            // something answers at the address of a device, but no printer
	MediaMismatch        = "derived-media-mismatch"        // the default or expected medium is in no tray
	QueueStalled         = "derived-queue-stalled"         // jobs wait although the printer does nothing
	NotAcceptingJobs     = "derived-not-accepting-jobs"    // printer-is-accepting-jobs is false
	RunOut               = "derived-run-out"               // forecast to run out; needs nights of history
	ServiceDue           = "derived-service-due"           // a long-life part without a keyword of its own is near its end
	ServiceRequested     = "derived-service-requested"     // serviceRequested(7) with nothing that explains it
	SourcesDisagree      = "derived-sources-disagree"      // two protocols tell different things
	DefaultOrientation   = "derived-default-orientation"   // the default orientation is not the site's
	LanguageMissing      = "derived-language-missing"      // an expected page language is not there
	DefaultMedia         = "derived-default-media"         // the default medium is not the norm's
	DefaultSides         = "derived-default-sides"         // the default sides are not the norm's
	DefaultColorMode     = "derived-default-color-mode"    // the default colour mode is not the norm's
	DefaultResolution    = "derived-default-resolution"    // the default resolution is not the norm's
	DefaultOutputBin     = "derived-default-output-bin"    // the default output bin is not the norm's
	DefaultFinishings    = "derived-default-finishings"    // the default finishing is not the norm's
	TraySetting          = "derived-tray-setting"          // a tray is set to what does not lie in it
	FinishingUnavailable = "derived-finishing-unavailable" // every job asks for finishing that cannot be done
	PunchPattern         = "derived-punch-pattern"         // a punch pattern of the norm is not there
	ClockOff             = "derived-clock-off"             // the device's clock is off
	FirmwareDiffers      = "derived-firmware-differs"      // another version than most devices of the model
	IPPUnencrypted       = "derived-ipp-unencrypted"       // IPP without TLS only
	CertificateEnded     = "derived-certificate-ended"     // the certificate has ended
	CertificateEnds      = "derived-certificate-ends"      // the certificate ends soon
	DefaultCommunity     = "derived-default-community"     // the community of delivery answers
	SNMPSilent           = "derived-snmp-silent"           // only IPP answered
	ReadIncomplete       = "derived-read-incomplete"       // only part could be read
	UnexplainedStop      = "derived-stopped-unexplained"   // says that it cannot print, and not why
	UnexplainedWarning   = "derived-warning-unexplained"   // says that something is unusual, and not what
	CoverClosed          = "derived-cover-closed"          // coverClosed(4) has no keyword
	DoorClosed           = "derived-door-closed"           // doorClosed(502) has no keyword
	SubunitUnavailable   = "derived-subunit-unavailable"   // a subunit's status says critical, and not what
	SubunitAlert         = "derived-subunit-alert"         // a subunit's status says alert, and not which
)

// SNMPDefaultLabel is the label of the credential that is tried when a site
// names none: the community that devices are delivered with.
const SNMPDefaultLabel = "default"
