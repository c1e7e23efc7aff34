package dcc

// version is one version of the DCC schema with all that this package does
// otherwise for it than for another one. Newer versions are rows; what they add
// (text types that are never empty: every text here is trimmed and left out
// where empty; declared reference types) is either done already or a field here.
type version struct {
	Name     string // of attribute schemaVersion, to the letter
	Location string // where the schema is published
	// MailRequired: laboratory and customer need an element eMail.
	MailRequired bool
	// IssueDate: the core data have an element for the date of issue; else a
	// statement holds it.
	IssueDate bool
}

// versions holds what can be written; the first is what is written.
var versions = []version{
	{Name: "3.1.2", Location: "https://ptb.de/dcc https://ptb.de/dcc/v3.1.2/dcc.xsd", MailRequired: true},
}

const (
	namespaceDCC = "https://ptb.de/dcc"
	namespaceSI  = "https://ptb.de/si"
	namespaceXSI = "http://www.w3.org/2001/XMLSchema-instance"
)

// Reference types say what an element is, to programs. Those that begin with
// basic_ are in public use; bandproof_ marks our own, where none of them fits.
const (
	refNominal      = "basic_nominalValue"
	refReference    = "basic_referenceValue"
	refMeasured     = "basic_measuredValue"
	refError        = "basic_measurementError"
	refConformity   = "basic_conformity"
	refTraceable    = "basic_metrologicallyTraceableToSI"
	refRevision     = "basic_revision" // what was changed against an earlier certificate, and why
	refMethod       = "basic_calibrationMethod"
	refTemperature  = "basic_temperature"
	refPoint        = "bandproof_point"
	refSecondLook   = "bandproof_secondLook" // the same point through another source
	refFinding      = "bandproof_finding"    // of another measurement than the band sweep
	refCurve        = "bandproof_curve"
	refNotShown     = "bandproof_notShown" // planned out, because the bench can't show it
	refFrom         = "bandproof_rangeFrom"
	refTo           = "bandproof_rangeTo"
	refLevel        = "bandproof_level" // of the signal at the input
	refGate         = "bandproof_gateTime"
	refLimit        = "bandproof_limit" // the largest permitted |error|
	refAtMost       = "bandproof_limitAtMost"
	refAtLeast      = "bandproof_limitAtLeast"
	refGuardBand    = "bandproof_guardBand"
	refDecisionU    = "bandproof_decisionUncertainty"
	refProbability  = "bandproof_probabilityOfConformity"
	refBias         = "bandproof_bias"
	refHumidity     = "bandproof_relativeHumidity"
	refMains        = "bandproof_mainsVoltage"
	refOnFor        = "bandproof_timeSinceSwitchedOn"
	refState        = "bandproof_stateOfUnit"
	refTopology     = "bandproof_referenceTopology"
	refRule         = "bandproof_decisionRule"
	refScope        = "bandproof_scope"
	refCurveX       = "bandproof_abscissa"
	refCurveY       = "bandproof_ordinate"
	refCurveU       = "bandproof_ordinateUncertainty"
	refCertificate  = "bandproof_certificateNumber"
	refIssued       = "bandproof_dateOfIssue"
	refDue          = "bandproof_nextCalibration"
	refRecord       = "bandproof_record"
	refInvented     = "bandproof_invented"
	refUncertainty  = "bandproof_uncertainty"
	refAltered      = "bandproof_alterations"
	refByCustomer   = "bandproof_statedByCustomer"
	refOnlyThisItem = "bandproof_onlyThisItem"
)
