//go:build peers

package storetest

const peersDemanded = true
