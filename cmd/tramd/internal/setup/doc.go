// Package setup asks a person what a configuration must hold, and writes it. Every answer is judged by the rules of
// package config as soon as it is given, so that what is written at the end is right.
package setup
