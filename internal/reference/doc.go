// Package reference is where UTC comes from: servers asked over the network,
// how far they may be wrong, which of them agree, and how the bound grows when
// they fall silent. It keeps a scale of its own and never sets the clock of
// the computer.
package reference
