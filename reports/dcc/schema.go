package dcc

import (
	"encoding/xml"
	"iter"
)

// The types of this file mirror the elements of the DCC schema that are
// written; the order of fields is that which the schema wants.

// group is an element that holds elements of one kind; an empty one is left out,
// because the schema wants at least one.
type group[T any] []T

// kindOf names what stands within a group.
var kindOf = map[string]string{"dcc:dccSoftware": "dcc:software", "dcc:identifications": "dcc:identification", "dcc:items": "dcc:item", "dcc:installedSoftwares": "dcc:software",
	"dcc:respPersons": "dcc:respPerson", "dcc:statements": "dcc:statement", "dcc:measurementResults": "dcc:measurementResult", "dcc:usedMethods": "dcc:usedMethod",
	"dcc:usedSoftware": "dcc:software", "dcc:measuringEquipments": "dcc:measuringEquipment", "dcc:influenceConditions": "dcc:influenceCondition",
	"dcc:results": "dcc:result", "dcc:measurementMetaData": "dcc:metaData"}

// MarshalXML writes the elements within theirs.
func (g group[T]) MarshalXML(e *xml.Encoder, start xml.StartElement) error {
	if len(g) == 0 {
		return nil
	}
	if err := e.EncodeToken(start); err != nil {
		return err
	}
	for _, x := range g {
		if err := e.EncodeElement(x, xml.StartElement{Name: xml.Name{Local: kindOf[start.Name.Local]}}); err != nil {
			return err
		}
	}
	return e.EncodeToken(start.End())
}

type certificate struct {
	XMLName  xml.Name           `xml:"dcc:digitalCalibrationCertificate"`
	DCC      string             `xml:"xmlns:dcc,attr"`
	SI       string             `xml:"xmlns:si,attr"`
	XSI      string             `xml:"xmlns:xsi,attr"`
	Location string             `xml:"xsi:schemaLocation,attr"`
	Version  string             `xml:"schemaVersion,attr"`
	Admin    administrative     `xml:"dcc:administrativeData"`
	Results  group[measurement] `xml:"dcc:measurementResults"`
	Document *file              `xml:"dcc:document"`
}

type administrative struct {
	Software   group[software]  `xml:"dcc:dccSoftware"`
	Core       coreData         `xml:"dcc:coreData"`
	Items      group[item]      `xml:"dcc:items"`
	Laboratory contact          `xml:"dcc:calibrationLaboratory>dcc:contact"`
	Persons    group[person]    `xml:"dcc:respPersons"`
	Customer   contact          `xml:"dcc:customer"`
	Statements group[statement] `xml:"dcc:statements"`
}

type software struct {
	Name        text   `xml:"dcc:name"`
	Release     string `xml:"dcc:release"`
	Type        string `xml:"dcc:type,omitempty"`
	Description *rich  `xml:"dcc:description"`
}

type coreData struct {
	Country         string                `xml:"dcc:countryCodeISO3166_1"`
	Used            string                `xml:"dcc:usedLangCodeISO639_1"`
	Mandatory       string                `xml:"dcc:mandatoryLangCodeISO639_1"`
	ID              string                `xml:"dcc:uniqueIdentifier"`
	Identifications group[identification] `xml:"dcc:identifications"`
	Received        string                `xml:"dcc:receiptDate,omitempty"`
	Begin           string                `xml:"dcc:beginPerformanceDate"`
	End             string                `xml:"dcc:endPerformanceDate"`
	Place           string                `xml:"dcc:performanceLocation"`
	IssueDate       string                `xml:"dcc:issueDate,omitempty"` // not in 3.1.2
	Previous        *hashed               `xml:"dcc:previousReport"`
}

// hashed refers to another document by its hash.
type hashed struct {
	Referral  text   `xml:"dcc:referral"`
	ID        string `xml:"dcc:referralID"`
	Procedure string `xml:"dcc:procedure"`
	Value     string `xml:"dcc:value"`
}

type identification struct {
	RefType string `xml:"refType,attr,omitempty"`
	Issuer  issuer `xml:"dcc:issuer"`
	Value   string `xml:"dcc:value"`
	Name    *text  `xml:"dcc:name"`
}

type issuer string

const (
	byMaker      issuer = "manufacturer"
	byLaboratory issuer = "calibrationLaboratory"
	byCustomer   issuer = "customer"
	byOther      issuer = "other"
)

type item struct {
	Name            text                  `xml:"dcc:name"`
	Description     *rich                 `xml:"dcc:description"`
	Software        group[software]       `xml:"dcc:installedSoftwares"`
	Maker           text                  `xml:"dcc:manufacturer>dcc:name"`
	Model           string                `xml:"dcc:model,omitempty"`
	Identifications group[identification] `xml:"dcc:identifications"`
}

type contact struct {
	Name     text     `xml:"dcc:name"`
	Mail     string   `xml:"dcc:eMail,omitempty"`
	Phone    string   `xml:"dcc:phone,omitempty"`
	Location location `xml:"dcc:location"`
}

type location struct {
	Country string `xml:"dcc:countryCode,omitempty"`
	Further *rich  `xml:"dcc:further"`
}

type person struct {
	Name        text   `xml:"dcc:person>dcc:name"`
	Description *rich  `xml:"dcc:description"`
	Role        string `xml:"dcc:role,omitempty"`
	MainSigner  bool   `xml:"dcc:mainSigner,omitempty"`
}

// statement is a statement of the whole certificate, or metadata of a part.
type statement struct {
	ID          string   `xml:"id,attr,omitempty"`
	RefID       string   `xml:"refId,attr,omitempty"`
	RefType     string   `xml:"refType,attr,omitempty"`
	Traceable   bool     `xml:"dcc:traceable,omitempty"`
	Norms       []string `xml:"dcc:norm"`
	Declaration *rich    `xml:"dcc:declaration"`
	Date        string   `xml:"dcc:date,omitempty"`
	Conformity  string   `xml:"dcc:conformity,omitempty"`
	NonSI       string   `xml:"dcc:nonSIDefinition,omitempty"`
	NonSIUnit   string   `xml:"dcc:nonSIUnit,omitempty"`
}

// measurement is one run.
type measurement struct {
	ID          string           `xml:"id,attr"`
	Name        text             `xml:"dcc:name"`
	Description *rich            `xml:"dcc:description"`
	Methods     group[method]    `xml:"dcc:usedMethods"`
	Software    group[software]  `xml:"dcc:usedSoftware"`
	Equipment   group[equipment] `xml:"dcc:measuringEquipments"`
	Conditions  group[condition] `xml:"dcc:influenceConditions"`
	Results     group[result]    `xml:"dcc:results"`
	MetaData    group[statement] `xml:"dcc:measurementMetaData"`
}

type method struct {
	RefType     string   `xml:"refType,attr,omitempty"`
	Name        text     `xml:"dcc:name"`
	Description *rich    `xml:"dcc:description"`
	Norms       []string `xml:"dcc:norm"`
	Reference   []string `xml:"dcc:reference"`
}

type equipment struct {
	ID              string                `xml:"id,attr"`
	Name            text                  `xml:"dcc:name"`
	Description     *rich                 `xml:"dcc:description"`
	Maker           *text                 `xml:"dcc:manufacturer>dcc:name"`
	Model           string                `xml:"dcc:model,omitempty"`
	Identifications group[identification] `xml:"dcc:identifications"`
}

type condition struct {
	RefType     string `xml:"refType,attr,omitempty"`
	Name        text   `xml:"dcc:name"`
	Description *rich  `xml:"dcc:description"`
	Status      string `xml:"dcc:status,omitempty"`
	Data        data   `xml:"dcc:data"`
}

type result struct {
	RefType     string `xml:"refType,attr,omitempty"`
	Name        text   `xml:"dcc:name"`
	Description *rich  `xml:"dcc:description"`
	Data        data   `xml:"dcc:data"`
}

// data is a row of texts (*rich), values and lists; they are made while
// they are written, so that a long run does not lie in memory twice.
type data struct{ parts iter.Seq[any] }

func of(parts ...any) data {
	return data{func(yield func(any) bool) {
		for _, p := range parts {
			if !yield(p) {
				return
			}
		}
	}}
}

// MarshalXML writes the parts one by one.
func (d data) MarshalXML(e *xml.Encoder, start xml.StartElement) error {
	if err := e.EncodeToken(start); err != nil {
		return err
	}
	for p := range d.parts {
		name := "dcc:text"
		switch p.(type) {
		case value:
			name = "dcc:quantity"
		case list:
			name = "dcc:list"
		}
		if err := e.EncodeElement(p, xml.StartElement{Name: xml.Name{Local: name}}); err != nil {
			return err
		}
	}
	return e.EncodeToken(start.End())
}

// list is what belongs together: a point, a finding, the columns of a curve.
type list struct {
	RefID       string           `xml:"refId,attr,omitempty"` // equipment that was used
	RefType     string           `xml:"refType,attr,omitempty"`
	Name        text             `xml:"dcc:name"`
	Description *rich            `xml:"dcc:description"`
	Time        string           `xml:"dcc:dateTime,omitempty"`
	Values      []value          `xml:"dcc:quantity"`
	MetaData    group[statement] `xml:"dcc:measurementMetaData"`
}

// value is a quantity of the schema; it has one of None, Real and List.
type value struct {
	RefType     string           `xml:"refType,attr,omitempty"`
	Name        text             `xml:"dcc:name"`
	Description *rich            `xml:"dcc:description"`
	None        *rich            `xml:"dcc:noQuantity"`
	Real        *real            `xml:"si:real"`
	List        *realList        `xml:"si:realListXMLList"`
	MetaData    group[statement] `xml:"dcc:measurementMetaData"`
}

type file struct {
	Name        *text  `xml:"dcc:name"`
	Description *rich  `xml:"dcc:description"`
	FileName    string `xml:"dcc:fileName"`
	MIME        string `xml:"dcc:mimeType"`
	Base64      string `xml:"dcc:dataBase64"`
}

// text is a short text, rich one with an optional heading.
type text struct {
	Content []content `xml:"dcc:content"`
}

type rich struct {
	Name    *text     `xml:"dcc:name"`
	Content []content `xml:"dcc:content"`
}

type content struct {
	Lang string `xml:"lang,attr,omitempty"`
	Text string `xml:",chardata"`
}

// language of all that this program says.
const language = "en"
