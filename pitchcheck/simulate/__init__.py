"""An imaginary instrument that can be heard: for the demo and the tests."""
