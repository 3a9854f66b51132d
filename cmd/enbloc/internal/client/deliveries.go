package client

import (
	"context"
	"encoding/json"
	"net/url"
	"time"
)

// Delivery is one state of a case on its way to one target, as the API shows it.
type Delivery struct {
	ID          string          `json:"id"`
	Case        string          `json:"case"`
	Sequence    int             `json:"sequence"`
	Target      string          `json:"target"`
	State       string          `json:"state"`
	Reason      string          `json:"reason"`
	Explanation string          `json:"explanation"`
	Details     json.RawMessage `json:"details,omitempty"`
	NextAttempt *time.Time      `json:"next_attempt_at,omitempty"`
	Created     time.Time       `json:"created_at"`
	Updated     time.Time       `json:"updated_at"`
	Attempts    []Attempt       `json:"attempts"`
}

// Attempt is one try of a delivery.
type Attempt struct {
	Number     int       `json:"number"`
	Started    time.Time `json:"started_at"`
	DurationMs int64     `json:"duration_ms"`
	HTTPStatus int       `json:"http_status,omitempty"`
	Class      string    `json:"class"`
	Reason     string    `json:"reason,omitempty"`
	RequestID  string    `json:"request_id,omitempty"`
}

// Deliveries returns what the query selects ("case", "state", "target"),
// newest first, over as many pages as there are, at most limit rows; 0 means
// all.
func (c *Client) Deliveries(ctx context.Context, query url.Values, limit int) ([]Delivery, error) {
	all := []Delivery{}
	path := "/deliveries"
	if len(query) > 0 {
		path += "?" + query.Encode()
	}
	for path != "" {
		var page struct {
			Deliveries []Delivery `json:"deliveries"`
			Next       string     `json:"next"`
		}
		if err := c.Get(ctx, path, &page); err != nil {
			return nil, err
		}
		all = append(all, page.Deliveries...)
		if limit > 0 && len(all) >= limit {
			return all[:limit], nil
		}
		path = page.Next
	}
	return all, nil
}

// Resend asks the service to try a stopped delivery again.
func (c *Client) Resend(ctx context.Context, id string) (Delivery, error) {
	var d Delivery
	_, err := c.Post(ctx, "/deliveries/"+url.PathEscape(id)+"/resend", nil, &d)
	return d, err
}

// Skip asks the service to close a delivery unsent.
func (c *Client) Skip(ctx context.Context, id string) (Delivery, error) {
	var d Delivery
	_, err := c.Post(ctx, "/deliveries/"+url.PathEscape(id)+"/skip", nil, &d)
	return d, err
}

// Target is a place that records go to, in short.
type Target struct {
	Name string `json:"name"`
	Rung struct {
		Number int      `json:"number"`
		Title  string   `json:"title"`
		Lost   []string `json:"lost"`
	} `json:"rung"`
	Stepped *struct {
		From   int       `json:"from"`
		Status int       `json:"http_status"`
		Since  time.Time `json:"since"`
	} `json:"stepped_down"`
	Circuit string `json:"circuit"`
}

// Targets lists the targets of the service.
func (c *Client) Targets(ctx context.Context) ([]Target, error) {
	var body struct {
		Targets []Target `json:"targets"`
	}
	err := c.Get(ctx, "/targets", &body)
	return body.Targets, err
}
