// Package browser owns the tests of the pages in a real browser: each person's main job on a
// phone and at a desk, by keyboard, with scripts off, in light and dark, and checked for
// accessibility. It needs chromium, which the test script installs.
package browser
