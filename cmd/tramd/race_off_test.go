//go:build !race

package main

const memoryFactor = 1
