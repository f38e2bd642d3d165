// Package observe reckons what a person's taps say of a dial.
package observe
