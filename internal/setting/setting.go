// Package setting plans how a chronometer is started on a signal and when its
// minute hand is moved on.
package setting
