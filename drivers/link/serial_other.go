//go:build !linux && !darwin

package link

// portClaim does nothing where the system lets a port be opened only once.
type portClaim struct{}

func claim(string) (*portClaim, error) { return &portClaim{}, nil }

func (*portClaim) configure(c Config) error { return flowControl(0, c.FlowControl) }

// writer is nil: there are no writes with deadlines.
func (*portClaim) writer() deadlineWriter { return nil }

func (*portClaim) release() error { return nil }
