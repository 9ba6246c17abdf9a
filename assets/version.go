package assets

// Version is Readback's version, as FyneApp.toml, the packages and the window tell it.
const Version = "0.1.0"
