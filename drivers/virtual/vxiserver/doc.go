// Package vxiserver serves virtual instruments over VXI-11: the core, abort and
// interrupt channels of one network host with several devices on it (inst0, or
// gpib0,7 as behind a gateway), their links and locks, and a portmapper.
//
// What an instrument says is the business of a [virtual.Conversation], one for each link.
package vxiserver
