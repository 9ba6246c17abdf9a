package uds

import "context"

// TesterPresent asks the module whether it is there (3E 00, clause 10.7). A refusal is an answer too: the module is
// there.
func (c *Client) TesterPresent(ctx context.Context) error {
	_, err := c.read(ctx, sidTesterPresent, 0x00)
	return err
}
