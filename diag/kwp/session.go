package kwp

import "context"

// DefaultSession of service 10 is the standard session of ISO 14230-3.
const DefaultSession byte = 0x81

// Session opens a diagnostic session (10). It sends once.
func (c *Client) Session(ctx context.Context, kind byte) error {
	_, err := c.Do(ctx, []byte{sidSession, kind})
	return err
}

// EndSession goes back to the standard session (20). It sends once.
func (c *Client) EndSession(ctx context.Context) error {
	_, err := c.Do(ctx, []byte{sidEndSession})
	return err
}

// TesterPresent asks the module whether it is there (3E 01). A refusal is an answer too: the module is there.
func (c *Client) TesterPresent(ctx context.Context) error {
	_, err := c.read(ctx, sidTesterPresent, responseRequired)
	return err
}

// StopCommunication ends the conversation on a serial line (82, ISO 14230-2). It sends once. The line has to be set up
// anew before the next request; an adapter does that by itself.
func (c *Client) StopCommunication(ctx context.Context) error {
	_, err := c.Do(ctx, []byte{sidStop})
	return err
}
