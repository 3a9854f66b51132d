package fhirserver

import "context"

type outsideKey struct{}

// WithOutside has a function called before each request of a call, whose result
// is called when the answer is there: for whoever holds something while it
// computes that it should not hold while it waits for a target.
func WithOutside(ctx context.Context, leave func(context.Context) (back func())) context.Context {
	return context.WithValue(ctx, outsideKey{}, leave)
}

// Outside does what was asked for by [WithOutside]; back is never nil.
func Outside(ctx context.Context) (back func()) {
	if leave, ok := ctx.Value(outsideKey{}).(func(context.Context) func()); ok {
		return leave(ctx)
	}
	return func() {}
}
