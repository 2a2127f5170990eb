// Command crosscount is the repair shop's work-order and diagnosis server.
package main

func main() {}
