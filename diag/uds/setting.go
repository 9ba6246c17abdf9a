package uds

// StoreAgainRequest lets a module store codes again after somebody has stopped it (85 01, clause 10.8). The option record
// is the maker's; the edition of 2013 allows a group of codes there. This package does not send it.
func StoreAgainRequest(option ...byte) []byte {
	return append([]byte{sidSetting, 0x01}, option...)
}

// Messages that service 28 can speak of (ISO 14229-1:2020 annex B.1): bits 1-0. Bits 7-4 are the network, 0 all of them.
const (
	MessagesNormal     byte = 0x01
	MessagesManagement byte = 0x02 // network management
)

// SpeakAgainRequest lets a module send and receive its messages again after somebody has silenced it (28 00, clause
// 10.5). This package does not send it.
func SpeakAgainRequest(messages byte) []byte {
	return []byte{sidCommunication, 0x00, messages}
}
