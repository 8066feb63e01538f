package report

// What tests of this package and those that see it from outside share.
var (
	Golden       = golden
	Compiled     = compiled
	Validate     = validate
	NoticesDrift = noticesDrift
)
