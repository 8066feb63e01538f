package lab

import "fmt"

// The numbers of the standards' enumerations that the lab uses, by their
// labels. They are written out here and not taken from the reader's tables, so
// that a mistake there shows. A test compares them with the registries.

// enum maps labels to numbers.
type enum map[string]int

// of returns the number of a label that the code itself names; scenario files
// are checked when they are read.
func (e enum) of(label string) int {
	n, ok := e[label]
	if !ok {
		panic(fmt.Sprintf("lab: label %q is not in its table", label))
	}
	return n
}

// RFC 3805 section 6 and the IANA Printer MIB.
var (
	prtMarkerMarkTechTC = enum{"electrophotographicLED": 3, "electrophotographicLaser": 4,
		"inkjetAqueous": 12, "thermalTransfer": 16, "thermalSensitive": 17}
	prtInputTypeTC = enum{"other": 1, "unknown": 2, "sheetFeedAutoRemovableTray": 3,
		"sheetFeedAutoNonRemovableTray": 4, "sheetFeedManual": 5, "continuousRoll": 6, "continuousFanFold": 7}
	prtOutputTypeTC = enum{"other": 1, "unknown": 2, "removableBin": 3, "unRemovableBin": 4,
		"continuousRollDevice": 5, "mailBox": 6, "continuousFanFold": 7}
	prtMarkerSuppliesTypeTC = enum{"other": 1, "unknown": 2, "toner": 3, "wasteToner": 4, "ink": 5,
		"inkCartridge": 6, "inkRibbon": 7, "wasteInk": 8, "opc": 9, "developer": 10, "fuser": 15,
		"cleanerUnit": 18, "transferUnit": 20, "tonerCartridge": 21, "wastePaper": 26, "staples": 32, "covers": 34}
	prtMarkerSuppliesClassTC = enum{"other": 1, "supplyThatIsConsumed": 3, "receptacleThatIsFilled": 4}
	prtMarkerSuppliesUnitTC  = enum{"other": 1, "unknown": 2, "impressions": 7, "sheets": 8, "hours": 11,
		"tenthsOfGrams": 13, "tenthsOfMilliliters": 15, "feet": 16, "meters": 17, "items": 18, "percent": 19}
	prtCapacityUnitTC = enum{"other": 1, "unknown": 2, "micrometers": 4, "sheets": 8, "feet": 16,
		"meters": 17, "items": 18, "percent": 19}
	prtMarkerCounterUnitTC = enum{"impressions": 7, "sheets": 8, "feet": 16, "meters": 17}
	prtMediaPathSpeedTC    = enum{"impressionsPerHour": 7, "sheetsPerHour": 8, "feetPerHour": 16, "metersPerHour": 17}
	prtMediaPathTypeTC     = enum{"longEdgeBindingDuplex": 3, "shortEdgeBindingDuplex": 4, "simplex": 5}
	prtCoverStatusTC       = enum{"coverOpen": 3, "coverClosed": 4, "interlockOpen": 5, "interlockClosed": 6}
	prtMarkerColorantRole  = enum{"other": 1, "process": 3, "spot": 4}
	prtConsoleColorTC      = enum{"white": 3, "red": 4, "green": 5, "blue": 6, "yellow": 9, "orange": 10}
	prtChannelTypeTC       = enum{"chLPDServer": 8, "chPort9100": 11, "chUSB": 34, "chIPP": 44}
	prtOrientationTC       = enum{"other": 1, "portrait": 3, "landscape": 4}
	prtLangFamilyTC        = enum{"other": 1, "langPCL": 3, "langHPGL": 4, "langPJL": 5, "langPS": 6,
		"langEscapeP": 9, "langAutomatic": 37, "langTIFF": 40, "langPCLXL": 47, "langSimpleText": 30, "langPDF": 54, "langJPEG": 61,
		"langPS3": 79, "langPCL5e": 82, "langPCL5c": 83}
	prtAlertGroupTC = enum{"generalPrinter": 5, "cover": 6, "input": 8, "output": 9, "marker": 10,
		"markerSupplies": 11, "mediaPath": 13, "channel": 14, "interpreter": 15, "finDevice": 30, "finSupply": 31}
	prtAlertSeverityTC = enum{"other": 1, "critical": 3, "warning": 4, "warningBinaryChangeEvent": 5}
	prtAlertTrainingTC = enum{"other": 1, "unknown": 2, "untrained": 3, "trained": 4, "fieldService": 5,
		"management": 6, "noInterventionRequired": 7}
	prtAlertCodeTC = enum{"coverOpen": 3, "interlockOpen": 5, "jam": 8, "subunitLifeAlmostOver": 10,
		"subunitLifeOver": 11, "subunitAlmostEmpty": 12, "subunitOffline": 22, "subunitPowerSaver": 23,
		"inputMediaTrayMissing": 801, "inputMediaSupplyLow": 807, "inputMediaSupplyEmpty": 808,
		"inputMediaChangeRequest": 809, "outputMediaTrayFull": 903, "markerFuserOverTemperature": 1002,
		"markerTonerEmpty": 1101, "markerInkEmpty": 1102, "markerPrintRibbonEmpty": 1103,
		"markerTonerAlmostEmpty": 1104, "markerInkAlmostEmpty": 1105, "markerPrintRibbonAlmostEmpty": 1106,
		"markerWasteTonerReceptacleAlmostFull": 1107, "markerWasteInkReceptacleAlmostFull": 1108,
		"markerWasteTonerReceptacleFull": 1109, "markerWasteInkReceptacleFull": 1110,
		"markerOpcLifeAlmostOver": 1111, "markerOpcLifeOver": 1112, "markerTonerCartridgeMissing": 1115,
		"staplerEmpty": 30213, "puncherFull": 30815}
)

// RFC 3806 section 4 and the IANA Finisher MIB.
var (
	finDeviceTypeTC    = enum{"stitcher": 3, "puncher": 8, "stacker": 16, "inserter": 18}
	presentOnOff       = enum{"other": 1, "on": 3, "off": 4, "notPresent": 5}
	finAttributeTypeTC = enum{"deviceName": 3, "deviceVendorName": 4, "deviceModel": 5, "deviceVersion": 6,
		"deviceSerialNumber": 7, "maximumSheets": 8, "finReferenceEdge": 10, "finHeadLocation": 13,
		"finNumberOfPositions": 15, "stitchingType": 30, "stitchingDirection": 31,
		"punchHoleType": 80, "punchPattern": 83}
)

// RFC 2790 section 4.
var (
	hrDeviceStatus     = enum{"unknown": 1, "running": 2, "warning": 3, "testing": 4, "down": 5}
	hrPrinterStatus    = enum{"other": 1, "unknown": 2, "idle": 3, "printing": 4, "warmup": 5}
	hrPrinterErrorBits = enum{"lowPaper": 0, "noPaper": 1, "lowToner": 2, "noToner": 3, "doorOpen": 4,
		"jammed": 5, "offline": 6, "serviceRequested": 7, "inputTrayMissing": 8, "outputTrayMissing": 9,
		"markerSupplyMissing": 10, "outputNearFull": 11, "outputFull": 12, "inputTrayEmpty": 13,
		"overduePreventMaint": 14}
)
