package virtual

import "errors"

// chatter is the session of an instrument that only talks: one gate after the
// other, each reading sent as soon as it is there. It hears nothing.
func (s *session) chatter(c *counter) error {
	defer func() {
		s.b.mu.Lock()
		defer s.b.mu.Unlock()
		c.gone(s)
	}()
	for {
		reply, err := s.nextSpoken(c)
		s.queue = nil // whatever came
		switch {
		case errors.Is(err, errInterrupted):
			continue
		case err != nil:
			return err
		}
		if err := s.send(reply, ""); err != nil {
			return err
		}
	}
}

// nextSpoken waits for the open gate, or opens one.
func (s *session) nextSpoken(c *counter) (string, error) {
	s.b.mu.Lock()
	defer s.b.mu.Unlock()
	s.b.catchUp()
	if c.run == nil {
		c.initiate(s)
	}
	if err := s.await(); err != nil {
		return "", err
	}
	if c.last == "" { // the input was changed meanwhile
		return "", errInterrupted
	}
	return c.spoken(), nil
}
