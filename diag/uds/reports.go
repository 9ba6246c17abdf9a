package uds

import (
	"fmt"

	"readback/diag/dtc"
)

// Report is a report type of service 19 (clause 12.3).
type Report byte

// Report types of ISO 14229-1:2020 table 317. 0F to 13 are of the edition of 2013 and left out since; 1A and 56 are
// new in that of 2020.
const (
	ReportNumber             Report = 0x01 // how many codes match a status mask
	ReportByStatus           Report = 0x02 // codes that match a status mask
	ReportSnapshotRecords    Report = 0x03 // which code has which snapshot
	ReportSnapshots          Report = 0x04 // snapshots of a code
	ReportStored             Report = 0x05 // stored data by record number
	ReportExtended           Report = 0x06 // extended data of a code
	ReportNumberBySeverity   Report = 0x07
	ReportBySeverity         Report = 0x08
	ReportSeverity           Report = 0x09 // severity of a code
	ReportSupported          Report = 0x0A // every code that the module can store
	ReportFirstFailed        Report = 0x0B
	ReportFirstConfirmed     Report = 0x0C
	ReportLastFailed         Report = 0x0D
	ReportLastConfirmed      Report = 0x0E
	ReportMirror             Report = 0x0F // codes of the mirror memory
	ReportMirrorExtended     Report = 0x10
	ReportMirrorNumber       Report = 0x11
	ReportEmissionsNumber    Report = 0x12
	ReportEmissions          Report = 0x13 // emission-related codes
	ReportCounters           Report = 0x14 // fault detection counters
	ReportPermanent          Report = 0x15
	ReportExtendedByNumber   Report = 0x16 // extended data of all codes by record number
	ReportMemory             Report = 0x17 // codes of a memory of the maker's own
	ReportMemorySnapshots    Report = 0x18
	ReportMemoryExtended     Report = 0x19
	ReportSupportingExtended Report = 0x1A // codes that have a certain extended data record
	ReportGroup              Report = 0x42 // codes of a functional group by masks
	ReportGroupPermanent     Report = 0x55
	ReportGroupReadiness     Report = 0x56 // codes of a functional group by readiness group
)

// part is one parameter of a report's request.
type part uint8

const (
	partStatus    part = iota + 1 // status mask
	partSeverity                  // severity mask
	partCode                      // three bytes
	partRecord                    // record number
	partMemory                    // memory selection
	partGroup                     // functional group identifier
	partReadiness                 // readiness group identifier
)

// report is one report type: its name, what its request holds in order, and where its answer repeats those that it
// repeats (the index of the byte in the answer, in the order of the parts; 0 where not).
type report struct {
	name  string
	parts []part
	at    []int
}

var reports = map[Report]report{
	ReportNumber:             {"reportNumberOfDTCByStatusMask", []part{partStatus}, nil},
	ReportByStatus:           {"reportDTCByStatusMask", []part{partStatus}, nil},
	ReportSnapshotRecords:    {"reportDTCSnapshotIdentification", nil, nil},
	ReportSnapshots:          {"reportDTCSnapshotRecordByDTCNumber", []part{partCode, partRecord}, []int{2, 0}},
	ReportStored:             {"reportDTCStoredDataByRecordNumber", []part{partRecord}, []int{2}},
	ReportExtended:           {"reportDTCExtDataRecordByDTCNumber", []part{partCode, partRecord}, []int{2, 0}},
	ReportNumberBySeverity:   {"reportNumberOfDTCBySeverityMaskRecord", []part{partSeverity, partStatus}, nil},
	ReportBySeverity:         {"reportDTCBySeverityMaskRecord", []part{partSeverity, partStatus}, nil},
	ReportSeverity:           {"reportSeverityInformationOfDTC", []part{partCode}, []int{5}},
	ReportSupported:          {"reportSupportedDTC", nil, nil},
	ReportFirstFailed:        {"reportFirstTestFailedDTC", nil, nil},
	ReportFirstConfirmed:     {"reportFirstConfirmedDTC", nil, nil},
	ReportLastFailed:         {"reportMostRecentTestFailedDTC", nil, nil},
	ReportLastConfirmed:      {"reportMostRecentConfirmedDTC", nil, nil},
	ReportMirror:             {"reportMirrorMemoryDTCByStatusMask", []part{partStatus}, nil},
	ReportMirrorExtended:     {"reportMirrorMemoryDTCExtDataRecordByDTCNumber", []part{partCode, partRecord}, []int{2, 0}},
	ReportMirrorNumber:       {"reportNumberOfMirrorMemoryDTCByStatusMask", []part{partStatus}, nil},
	ReportEmissionsNumber:    {"reportNumberOfEmissionsOBDDTCByStatusMask", []part{partStatus}, nil},
	ReportEmissions:          {"reportEmissionsOBDDTCByStatusMask", []part{partStatus}, nil},
	ReportCounters:           {"reportDTCFaultDetectionCounter", nil, nil},
	ReportPermanent:          {"reportDTCWithPermanentStatus", nil, nil},
	ReportExtendedByNumber:   {"reportDTCExtDataRecordByRecordNumber", []part{partRecord}, []int{2}},
	ReportMemory:             {"reportUserDefMemoryDTCByStatusMask", []part{partStatus, partMemory}, []int{0, 2}},
	ReportMemorySnapshots:    {"reportUserDefMemoryDTCSnapshotRecordByDTCNumber", []part{partCode, partRecord, partMemory}, []int{3, 0, 2}},
	ReportMemoryExtended:     {"reportUserDefMemoryDTCExtDataRecordByDTCNumber", []part{partCode, partRecord, partMemory}, []int{3, 0, 2}},
	ReportSupportingExtended: {"reportSupportedDTCExtDataRecord", []part{partRecord}, []int{3}},
	ReportGroup:              {"reportWWHOBDDTCByMaskRecord", []part{partGroup, partStatus, partSeverity}, []int{2, 0, 0}},
	ReportGroupPermanent:     {"reportWWHOBDDTCWithPermanentStatus", []part{partGroup}, []int{2}},
	ReportGroupReadiness:     {"reportDTCInformationByDTCReadinessGroupIdentifier", []part{partGroup, partReadiness}, []int{2, 5}},
}

// Name is the standard's name of a report type; "" for one that it does not name.
func (r Report) Name() string { return reports[r].name }

// counts reports the types whose answer is a number of codes.
func (r Report) counts() bool {
	switch r {
	case ReportNumber, ReportNumberBySeverity, ReportMirrorNumber, ReportEmissionsNumber:
		return true
	}
	return false
}

// allRecords is the record number that stands for every record; FE stands for all regulated ones (table 323).
const allRecords = 0xFF

// echoes reports whether an answer repeats what its request asked for. An answer that ends before it does.
func (r Report) echoes(request, answer []byte) bool {
	from := 2
	for i, p := range reports[r].parts {
		n := p.length()
		if i < len(reports[r].at) && reports[r].at[i] != 0 {
			at := reports[r].at[i]
			wild := p == partRecord && len(request) > from && request[from] >= allRecords-1
			if !wild && len(request) >= from && len(answer) > at && !same(request[from:], answer[at:], n) {
				return false
			}
		}
		from += n
	}
	return true
}

func (p part) length() int {
	if p == partCode {
		return 3
	}
	return 1
}

// CodesRequest is a question of service 19. Which of its parameters go into the request depends on the report type.
type CodesRequest struct {
	Report    Report
	Status    dtc.Status // mask: codes with at least one of these bits
	Severity  byte       // mask, see [CheckImmediately]
	Code      dtc.Code
	Record    byte // number of a snapshot, of stored or of extended data; FF is all of them, FE all regulated ones
	Memory    byte // which memory of the maker's own
	Group     byte // functional group: 33 emissions, D0 safety, FE VOBD
	Readiness byte // readiness group, SAE J1979-DA
}

// Bytes is the request. The error tells of a report type that the standard does not have.
func (q CodesRequest) Bytes() ([]byte, error) {
	r, ok := reports[q.Report]
	if !ok {
		return nil, fmt.Errorf("uds: service 19 has no report type %02X", byte(q.Report))
	}
	out := []byte{sidReadCodes, byte(q.Report)}
	for _, p := range r.parts {
		switch p {
		case partStatus:
			out = append(out, byte(q.Status))
		case partSeverity:
			out = append(out, q.Severity)
		case partCode:
			code := code3(q.Code)
			out = append(out, code[:]...)
		case partRecord:
			out = append(out, q.Record)
		case partMemory:
			out = append(out, q.Memory)
		case partGroup:
			out = append(out, q.Group)
		case partReadiness:
			out = append(out, q.Readiness)
		}
	}
	return out, nil
}
