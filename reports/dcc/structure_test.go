package dcc

import (
	"fmt"
	"regexp"
	"slices"
	"strings"
	"testing"
	"unicode"

	"github.com/stretchr/testify/require"
)

// content of the elements that are written, in the order that the DCC schema
// 3.1.2 and D-SI 2.1 give it (read in the published XSD files): ! marks what must be
// there, * what may be there more than once, | a choice of which one is there.
var structure = map[string]string{
	"dcc:digitalCalibrationCertificate": "dcc:administrativeData! dcc:measurementResults! dcc:comment dcc:document",
	"dcc:administrativeData":            "dcc:dccSoftware! dcc:coreData! dcc:items! dcc:calibrationLaboratory! dcc:respPersons! dcc:customer! dcc:statements",
	"dcc:dccSoftware":                   "dcc:software!*",
	"dcc:usedSoftware":                  "dcc:software!*",
	"dcc:installedSoftwares":            "dcc:software!*",
	"dcc:software":                      "dcc:name! dcc:release! dcc:type dcc:description",
	"dcc:coreData":                      "dcc:countryCodeISO3166_1! dcc:usedLangCodeISO639_1!* dcc:mandatoryLangCodeISO639_1!* dcc:uniqueIdentifier! dcc:identifications dcc:receiptDate dcc:beginPerformanceDate! dcc:endPerformanceDate! dcc:performanceLocation! dcc:previousReport",
	"dcc:previousReport":                "dcc:referral! dcc:referralID! dcc:procedure! dcc:value!",
	"dcc:identifications":               "dcc:identification!*",
	"dcc:identification":                "dcc:issuer! dcc:value! dcc:name",
	"dcc:items":                         "dcc:item!*",
	"dcc:item":                          "dcc:name! dcc:equipmentClass dcc:description dcc:installedSoftwares dcc:manufacturer! dcc:model dcc:identifications!",
	"dcc:manufacturer":                  "dcc:name! dcc:eMail dcc:phone dcc:fax dcc:location",
	"dcc:calibrationLaboratory":         "dcc:calibrationLaboratoryCode dcc:contact!",
	"dcc:contact":                       "dcc:name! dcc:eMail! dcc:phone dcc:fax dcc:location!",
	"dcc:customer":                      "dcc:name! dcc:eMail! dcc:phone dcc:fax dcc:location!",
	"dcc:location":                      "|dcc:countryCode|dcc:further",
	"dcc:respPersons":                   "dcc:respPerson!*",
	"dcc:respPerson":                    "dcc:person! dcc:description dcc:role dcc:mainSigner",
	"dcc:person":                        "dcc:name! dcc:eMail dcc:phone dcc:fax dcc:location",
	"dcc:statements":                    "dcc:statement!*",
	"dcc:statement":                     metaDataContent,
	"dcc:metaData":                      metaDataContent,
	"dcc:measurementResults":            "dcc:measurementResult!*",
	"dcc:measurementResult":             "dcc:name! dcc:description dcc:usedMethods dcc:usedSoftware dcc:measuringEquipments dcc:influenceConditions dcc:results! dcc:measurementMetaData",
	"dcc:usedMethods":                   "dcc:usedMethod!*",
	"dcc:usedMethod":                    "dcc:name! dcc:description dcc:norm* dcc:reference*",
	"dcc:measuringEquipments":           "dcc:measuringEquipment!*",
	"dcc:measuringEquipment":            "dcc:name! dcc:equipmentClass dcc:description dcc:certificate dcc:manufacturer dcc:model dcc:identifications",
	"dcc:influenceConditions":           "dcc:influenceCondition!*",
	"dcc:influenceCondition":            "dcc:name! dcc:description dcc:status dcc:certificate dcc:data!",
	"dcc:results":                       "dcc:result!*",
	"dcc:result":                        "dcc:name! dcc:description dcc:data!",
	"dcc:data":                          "|dcc:text|dcc:quantity|dcc:list",
	"dcc:list":                          "dcc:name dcc:description dcc:dateTime dcc:quantity!* dcc:measurementMetaData",
	"dcc:measurementMetaData":           "dcc:metaData!*",
	"dcc:quantity":                      "dcc:name dcc:description dcc:noQuantity si:real si:realListXMLList dcc:measurementMetaData",
	"si:real":                           "si:value! si:unit! si:dateTime si:expandedUnc",
	"si:expandedUnc":                    "si:uncertainty! si:coverageFactor! si:coverageProbability! si:distribution",
	"si:realListXMLList":                "si:valueXMLList! si:unitXMLList!",
	"dcc:document":                      "dcc:name dcc:description dcc:fileName! dcc:mimeType! dcc:dataBase64!",
	"dcc:name":                          "dcc:content!*",
	"dcc:referral":                      "dcc:content!*",
	"dcc:description":                   "dcc:name dcc:content!*",
	"dcc:declaration":                   "dcc:name dcc:content!*",
	"dcc:further":                       "dcc:name dcc:content!*",
	"dcc:noQuantity":                    "dcc:name dcc:content!*",
	"dcc:text":                          "dcc:name dcc:content!*",
}

const metaDataContent = "dcc:traceable dcc:norm* dcc:reference* dcc:declaration dcc:date dcc:conformity dcc:data dcc:nonSIDefinition dcc:nonSIUnit"

const decimal = `[-+]?(\d*\.\d+|\d+\.?\d*)([Ee][-+]?\d+)?`

// patterns of texts, as the schemas state them.
var patterns = map[string]*regexp.Regexp{
	"dcc:countryCodeISO3166_1": regexp.MustCompile(`^[A-Z]{2}$`),
	"dcc:countryCode":          regexp.MustCompile(`^[A-Z]{2}$`),
	"dcc:usedLangCodeISO639_1": regexp.MustCompile(`^[a-z]{2}$`),
	"dcc:performanceLocation":  regexp.MustCompile(`^(laboratory|customer|laboratoryBranch|customerBranch|other)$`),
	"dcc:issuer":               regexp.MustCompile(`^(manufacturer|calibrationLaboratory|customer|owner|other)$`),
	"dcc:status":               regexp.MustCompile(`^(before|after)(Adjustment|Repair)$`),
	"dcc:conformity":           regexp.MustCompile(`^(pass|fail|conditionalPass|conditionalFail|noPass|noFail)$`),
	"dcc:type":                 regexp.MustCompile(`^(application|bios|driver|editor|firmware|library|os|other)$`),
	"dcc:receiptDate":          regexp.MustCompile(`^\d{4}-\d\d-\d\d$`),
	"dcc:beginPerformanceDate": regexp.MustCompile(`^\d{4}-\d\d-\d\d$`),
	"dcc:endPerformanceDate":   regexp.MustCompile(`^\d{4}-\d\d-\d\d$`),
	"dcc:date":                 regexp.MustCompile(`^\d{4}-\d\d-\d\d$`),
	"dcc:dateTime":             regexp.MustCompile(`^\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ$`),
	"si:dateTime":              regexp.MustCompile(`^\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ$`),
	"si:value":                 regexp.MustCompile(`^(` + decimal + `|NaN)$`),
	"si:uncertainty":           regexp.MustCompile(`^\+?(\d*\.\d+|\d+\.?\d*)([Ee][-+]?\d+)?$`),
	"si:coverageFactor":        regexp.MustCompile(`^\+?([1-9]\d*(\.\d*)?)$`),
	"si:coverageProbability":   regexp.MustCompile(`^\+?(0(\.\d*)?|1(\.0*)?)$`),
	"si:valueXMLList":          regexp.MustCompile(`^(` + decimal + `|NaN)( (` + decimal + `|NaN))*$`),
	"dcc:mainSigner":           regexp.MustCompile(`^(true|false)$`),
	"dcc:dataBase64":           regexp.MustCompile(`^[A-Za-z0-9+/]+={0,2}$`),
}

// faults says what is wrong with a certificate, by this file's own knowledge of
// the schemas and by what the schemas leave open: units, empty texts, references.
func faults(root *node) []string {
	var list []string
	ids := map[string]bool{}
	root.walk(func(n *node) {
		if id, ok := n.attrs["id"]; ok {
			if ids[id] || !regexp.MustCompile(`^[A-Za-z_][\w.-]*$`).MatchString(id) {
				list = append(list, "id twice, or no name: "+id)
			}
			ids[id] = true
		}
	})
	root.walk(func(n *node) {
		fault := func(format string, args ...any) { list = append(list, n.name+": "+fmt.Sprintf(format, args...)) }
		for _, id := range strings.Fields(n.attrs["refId"]) {
			if !ids[id] {
				fault("refers to %q, which is not there", id)
			}
		}
		for _, a := range []string{"refId", "refType", "id", "lang"} {
			if v, ok := n.attrs[a]; ok && strings.TrimSpace(v) == "" {
				fault("attribute %s is empty", a)
			}
		}
		if model, known := structure[n.name]; known {
			list = append(list, misplaced(n, model)...)
			if strings.TrimSpace(n.text) != "" {
				fault("holds the text %q", n.text)
			}
			return
		}
		if len(n.children) > 0 {
			fault("has elements, and is not known to have any")
		}
		if strings.TrimSpace(n.text) != n.text || n.text == "" {
			fault("text %q is empty or has space around", n.text)
		}
		if strings.ContainsFunc(n.text, func(r rune) bool {
			return r != '\n' && unicode.IsControl(r) || r >= 0x202a && r <= 0x202e || r >= 0x2066 && r <= 0x2069
		}) {
			fault("text %q holds a control character", n.text)
		}
		if p := patterns[n.name]; p != nil && !p.MatchString(n.text) {
			fault("%q is not of the form %s", n.text, p)
		}
		if n.name == "si:unit" || n.name == "si:unitXMLList" {
			if err := checkUnit(n.text); err != nil {
				fault("%v", err)
			}
		}
	})
	return list
}

// misplaced compares the children of n with a content model.
func misplaced(n *node, model string) []string {
	var list []string
	names := make([]string, len(n.children))
	for k, c := range n.children {
		names[k] = c.name
	}
	if choice, ok := strings.CutPrefix(model, "|"); ok {
		for _, name := range names {
			if !slices.Contains(strings.Split(choice, "|"), name) {
				list = append(list, n.name+" can't hold "+name)
			}
		}
		if len(names) == 0 {
			list = append(list, n.name+" is empty")
		}
		return list
	}
	k := 0
	for _, part := range strings.Fields(model) {
		name := strings.TrimRight(part, "!*")
		count := 0
		if n.name == "dcc:administrativeData" { // in any order
			for _, x := range names {
				if x == name {
					count++
				}
			}
			k += count
		} else {
			for k < len(names) && names[k] == name {
				k++
				count++
			}
		}
		if count == 0 && strings.Contains(part, "!") || count > 1 && !strings.Contains(part, "*") {
			list = append(list, fmt.Sprintf("%s has %d of %s", n.name, count, name))
		}
	}
	if k < len(names) {
		list = append(list, fmt.Sprintf("%s: %s is out of place", n.name, names[k]))
	}
	if n.name == "dcc:quantity" && len(n.all("dcc:noQuantity"))+len(n.all("si:real"))+len(n.all("si:realListXMLList")) != 1 {
		list = append(list, "dcc:quantity has not one of noQuantity, real and list")
	}
	return list
}

func TestStructure(t *testing.T) {
	for name, records := range cases(t) {
		t.Run(name, func(t *testing.T) {
			require.Empty(t, faults(parsed(t, certified(t, options(), records...))))
			o := options()
			o.PDF = nil
			require.Nil(t, parsed(t, certified(t, o, records...)).one(t, "dcc:document"))
		})
	}
}

// damage is done to a good certificate; whether the schema itself has a word
// against it is noted, because that is why there are checks of our own.
var damage = []struct {
	name, old, new string
	bySchema       bool
}{
	{"order", "<dcc:receiptDate>2026-11-20</dcc:receiptDate>\n   <dcc:beginPerformanceDate>2026-11-26</dcc:beginPerformanceDate>", "<dcc:beginPerformanceDate>2026-11-26</dcc:beginPerformanceDate><dcc:receiptDate>2026-11-20</dcc:receiptDate>", true},
	{"left out", "<dcc:uniqueIdentifier>EX-2026-118-as-left</dcc:uniqueIdentifier>", "", true},
	{"unknown element", "<dcc:coreData>", "<dcc:coreData><dcc:weather/>", true},
	{"word of the schema", "<dcc:conformity>conditionalPass<", "<dcc:conformity>conditional pass<", true},
	{"state", "<dcc:status>beforeAdjustment<", "<dcc:status>asFound<", true},
	{"coverage factor below 1", "<si:coverageFactor>2<", "<si:coverageFactor>0.5<", true},
	{"number", "<si:value>18000000000<", "<si:value>18 GHz<", true},
	{"date", "<dcc:receiptDate>2026-11-20<", "<dcc:receiptDate>20.11.2026<", true},
	{"reference to nothing", `refId="as-found-conformity"`, `refId="nothing"`, false}, // the schema has, xmllint does not look
	{"id twice", `id="as-found-equipment-2"`, `id="as-found-equipment-1"`, true},
	{"country", ">ZZ<", ">zz<", true},
	{"quantity without a value", "<dcc:noQuantity>\n         <dcc:content lang=\"en\">fail: no count</dcc:content>\n        </dcc:noQuantity>", "", true},
	{"unit", `<si:unit>\hertz<`, `<si:unit>Hz<`, false},
	{"unit misspelt", `<si:unit>\hertz<`, `<si:unit>\hetrz<`, false},
	{"empty text", "<dcc:model>TC3<", "<dcc:model><", false},
	{"space around", "<dcc:model>TC3<", "<dcc:model> TC3<", false},
}

func TestStructureFindsDamage(t *testing.T) {
	good := string(certified(t, options(), foundRecord(t), leftRecord(t)))
	for _, row := range damage {
		require.Contains(t, good, row.old, row.name)
		require.NotEmpty(t, faults(parsed(t, []byte(strings.Replace(good, row.old, row.new, 1)))), row.name)
	}
}
