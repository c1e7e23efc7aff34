package procedures_test

import (
	"testing"

	"bandproof/procedures"

	"github.com/stretchr/testify/require"
)

func TestSetOfAJob(t *testing.T) {
	var j procedures.Job
	for key, text := range map[string]string{"customer": "C", "received": "2026-05-31", "temperature": "23.5 °C", "on_for": "2 h", "humidity": "45 %"} {
		require.NoError(t, j.Set(key, text), key)
	}
	require.Equal(t, []string{"C", "2026-05-31", "23.5 °C", "2 h", "45 %"}, []string{j.Customer, j.Received.String(), j.Temperature.String(), j.OnFor.String(), j.Humidity.String()})
	for _, key := range procedures.JobKeys() {
		require.NoError(t, j.Set(key, ""), key)
	}
	require.Equal(t, procedures.Job{}, j, "empty texts take values away")
	for key, want := range map[string]string{"schema": "no key of a job", "limited": "tables need a job file", "Customer": "there are number, customer", "received": `"x" is not a date`, "temperature": "temperature: "} {
		require.ErrorContains(t, j.Set(key, "x"), want, key)
	}
}
