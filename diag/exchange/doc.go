// Package exchange is the patience that the clients of ISO 14229-1 and ISO 14230-3 share: one request in the air, and the
// wait for what belongs to it.
//
//	uds.Client, kwp.Client -> [Client] -> link.Link
//	        request        ->  settle: what is left of earlier requests is dropped
//	                       ->  sent, once
//	        answer        <-   what belongs to it; "working, wait" (7F xx 78) makes the wait longer, up to the cap
//
// What sets the protocols apart is a [Protocol]: which answer belongs to which request, and what silence and refusals are
// called. Nothing here knows what a request does: [Client.Answers] and [Client.Do] send once, whatever happens, and
// [Client.Read], which asks again, is for requests that change nothing.
package exchange
