package main

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// What is a question: a header that ends in "?" (IEEE 488.2, 7.3.1.2, from memory).
func TestWhichMessagesAsk(t *testing.T) {
	for _, row := range []struct {
		message        string
		question, only bool
	}{
		{"*IDN?", true, true}, {"FREQ 1 MHZ", false, false}, {"FREQ 1 MHZ;:FREQ?", true, false}, {"FREQ?;POW?", true, true}, {"FREQ? MAX", true, true},
		{"DISP:TEXT \"WHY?\"", false, false}, {"DISP:TEXT 'A;B?'", false, false}, {"", false, false}, {";", false, false}, {" *OPC? ", true, true}, {"ID", false, false},
	} {
		question, only := asks(row.message)
		require.Equal(t, row.question, question, "question: %q", row.message)
		require.Equal(t, row.only, only, "only questions: %q", row.message)
	}
}
