package report

import (
	"embed"

	"printround/internal/color"
	"printround/internal/device"
	"printround/internal/visit"
)

//go:embed schema/*.json
var schemas embed.FS

// schemaFiles are the schemas by the name that the schema member of a document
// holds.
var schemaFiles = map[string]string{
	device.SurveySchema:       "schema/survey.schema.json",
	device.DeviceSchema:       "schema/device.schema.json",
	HistorySchema:             "schema/history.schema.json",
	device.TriageSchema:       "schema/symptom.schema.json",
	device.QueueSchema:        "schema/queue.schema.json",
	device.SettingsSchema:     "schema/settings.schema.json",
	device.SettingsDiffSchema: "schema/settings-diff.schema.json",
	color.Schema:              "schema/color.schema.json",
	visit.Schema:              "schema/visit.schema.json",
	TrendSchema:               "schema/trend.schema.json",
}

// Schema returns the JSON Schema (2020-12) of a document by its name, and
// whether there is one. The schema of a survey refers to that of a device by
// its $id.
func Schema(name string) ([]byte, bool) {
	file, ok := schemaFiles[name]
	if !ok {
		return nil, false
	}
	b, err := schemas.ReadFile(file)
	return b, err == nil
}
