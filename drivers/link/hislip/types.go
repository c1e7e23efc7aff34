package hislip

import "fmt"

// Port is the one that IANA has registered for HiSLIP.
const Port = 4880

// Type says what a message is (IVI-6.1 table 4, "Message Type Value
// Definitions").
type Type uint8

const (
	Initialize                      Type = 0
	InitializeResponse              Type = 1
	FatalError                      Type = 2
	Error                           Type = 3
	AsyncLock                       Type = 4
	AsyncLockResponse               Type = 5
	Data                            Type = 6
	DataEnd                         Type = 7
	DeviceClearComplete             Type = 8
	DeviceClearAcknowledge          Type = 9
	AsyncRemoteLocalControl         Type = 10
	AsyncRemoteLocalResponse        Type = 11
	Trigger                         Type = 12
	Interrupted                     Type = 13
	AsyncInterrupted                Type = 14
	AsyncMaximumMessageSize         Type = 15
	AsyncMaximumMessageSizeResponse Type = 16
	AsyncInitialize                 Type = 17
	AsyncInitializeResponse         Type = 18
	AsyncDeviceClear                Type = 19
	AsyncServiceRequest             Type = 20
	AsyncStatusQuery                Type = 21
	AsyncStatusResponse             Type = 22
	AsyncDeviceClearAcknowledge     Type = 23
	AsyncLockInfo                   Type = 24
	AsyncLockInfoResponse           Type = 25
	// What follows came with revision 2.0; none of it is spoken here.
	GetDescriptors               Type = 26
	GetDescriptorsResponse       Type = 27
	StartTLS                     Type = 28
	AsyncStartTLS                Type = 29
	AsyncStartTLSResponse        Type = 30
	EndTLS                       Type = 31
	AsyncEndTLS                  Type = 32
	AsyncEndTLSResponse          Type = 33
	GetSaslMechanismList         Type = 34
	GetSaslMechanismListResponse Type = 35
	AuthenticationStart          Type = 36
	AuthenticationExchange       Type = 37
	AuthenticationResult         Type = 38

	// VendorSpecific is the first of the types that makers define.
	VendorSpecific Type = 128
)

// Channel is one of the two connections of a session.
type Channel uint8

const (
	Neither Channel = 0 // no message of the standard
	Sync    Channel = 1
	Async   Channel = 2
	Either  Channel = Sync | Async
)

// kinds is table 4. It has DeviceClearAcknowledge on the asynchronous channel
// where the description of the device clear (6.12) has it on the synchronous
// one, as instruments do.
var kinds = [...]struct {
	name    string
	channel Channel
}{
	Initialize:                      {"Initialize", Sync},
	InitializeResponse:              {"InitializeResponse", Sync},
	FatalError:                      {"FatalError", Either},
	Error:                           {"Error", Either},
	AsyncLock:                       {"AsyncLock", Async},
	AsyncLockResponse:               {"AsyncLockResponse", Async},
	Data:                            {"Data", Sync},
	DataEnd:                         {"DataEnd", Sync},
	DeviceClearComplete:             {"DeviceClearComplete", Sync},
	DeviceClearAcknowledge:          {"DeviceClearAcknowledge", Sync},
	AsyncRemoteLocalControl:         {"AsyncRemoteLocalControl", Async},
	AsyncRemoteLocalResponse:        {"AsyncRemoteLocalResponse", Async},
	Trigger:                         {"Trigger", Sync},
	Interrupted:                     {"Interrupted", Sync},
	AsyncInterrupted:                {"AsyncInterrupted", Async},
	AsyncMaximumMessageSize:         {"AsyncMaximumMessageSize", Async},
	AsyncMaximumMessageSizeResponse: {"AsyncMaximumMessageSizeResponse", Async},
	AsyncInitialize:                 {"AsyncInitialize", Async},
	AsyncInitializeResponse:         {"AsyncInitializeResponse", Async},
	AsyncDeviceClear:                {"AsyncDeviceClear", Async},
	AsyncServiceRequest:             {"AsyncServiceRequest", Async},
	AsyncStatusQuery:                {"AsyncStatusQuery", Async},
	AsyncStatusResponse:             {"AsyncStatusResponse", Async},
	AsyncDeviceClearAcknowledge:     {"AsyncDeviceClearAcknowledge", Async},
	AsyncLockInfo:                   {"AsyncLockInfo", Async},
	AsyncLockInfoResponse:           {"AsyncLockInfoResponse", Async},
	GetDescriptors:                  {"GetDescriptors", Either},
	GetDescriptorsResponse:          {"GetDescriptorsResponse", Either},
	StartTLS:                        {"StartTLS", Sync},
	AsyncStartTLS:                   {"AsyncStartTLS", Async},
	AsyncStartTLSResponse:           {"AsyncStartTLSResponse", Async},
	EndTLS:                          {"EndTLS", Sync},
	AsyncEndTLS:                     {"AsyncEndTLS", Async},
	AsyncEndTLSResponse:             {"AsyncEndTLSResponse", Async},
	GetSaslMechanismList:            {"GetSaslMechanismList", Sync},
	GetSaslMechanismListResponse:    {"GetSaslMechanismListResponse", Sync},
	AuthenticationStart:             {"AuthenticationStart", Sync},
	AuthenticationExchange:          {"AuthenticationExchange", Sync},
	AuthenticationResult:            {"AuthenticationResult", Sync},
}

// String is the standard's name, or the number where it has none.
func (t Type) String() string {
	switch {
	case int(t) < len(kinds):
		return kinds[t].name
	case t >= VendorSpecific:
		return fmt.Sprintf("vendor-specific message %d", uint8(t))
	}
	return fmt.Sprintf("reserved message %d", uint8(t))
}

// Channel is where the message may be sent.
func (t Type) Channel() Channel {
	switch {
	case int(t) < len(kinds):
		return kinds[t].channel
	case t >= VendorSpecific:
		return Either
	}
	return Neither
}
