package server_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"enbloc/server/practice"
	"enbloc/server/servertest"
)

// A target that loses transactions in the middle of a case: the next state goes
// request by request, and whoever looks is told, with what is lost.
func TestAStepDownIsShownEverywhere(t *testing.T) {
	t.Parallel()
	s := servertest.Start(t, servertest.Options{})
	type targets struct {
		Targets []struct {
			Rung struct {
				Number int
				Lost   []string
			}
			Stepped *struct {
				From   int
				Status int `json:"http_status"`
				Since  time.Time
			} `json:"stepped_down"`
		}
	}
	var ready struct {
		Stepped int `json:"stepped_down"`
	}
	r := s.MustAccept("/cases", example(t, bleedReport))
	s.Settle()
	var before targets
	s.MustGet("/targets", &before)
	require.Nil(t, before.Targets[0].Stepped)
	s.MustGet("/health/ready", &ready)
	require.Zero(t, ready.Stepped)

	s.Receiver.Shape(practice.Shape{NoTransaction: true})
	s.MustAccept("/histology", example(t, bleedHistology))
	s.Settle()
	standing(t, s, r.Case, 2)
	var after targets
	s.MustGet("/targets", &after)
	require.Equal(t, 4, after.Targets[0].Rung.Number)
	require.NotEmpty(t, after.Targets[0].Rung.Lost)
	require.Equal(t, before.Targets[0].Rung.Number, after.Targets[0].Stepped.From)
	require.Equal(t, 405, after.Targets[0].Stepped.Status)
	require.False(t, after.Targets[0].Stepped.Since.IsZero())
	s.MustGet("/health/ready", &ready)
	require.Equal(t, 1, ready.Stepped)

	var rows struct {
		Deliveries []struct{ Reason, Explanation string }
	}
	s.MustGet("/deliveries", &rows)
	require.Equal(t, "stepped-down", rows.Deliveries[0].Reason)
	require.Contains(t, rows.Deliveries[0].Explanation, "Written by rung 4")
	require.Empty(t, rows.Deliveries[1].Reason)
	require.Contains(t, string(s.Do("GET", "/metrics", nil).Body), `enbloc_delivery_stepped_down{target="practice"} 1`)
}
