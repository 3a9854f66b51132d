// Package service is the running program as a value: [New] wires store,
// intake, delivery and HTTP together as a [Config] says, [Service.Run] serves
// until its context ends. Commands and tests start the same program.
package service
