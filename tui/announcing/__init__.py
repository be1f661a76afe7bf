"""Events for people, in sentences, signs, tones and speech."""
