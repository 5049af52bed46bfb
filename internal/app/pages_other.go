//go:build !linux

package app

func largePages(int) {}
