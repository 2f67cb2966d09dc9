"""The cautions that whoever takes charge confirms. Common practice, no source; the site's own rules come first."""

CAUTIONS: tuple[str, ...] = (
    "Confirm by taking charge; local codes, makers' instructions and licensed practice come first:",
    "· The hard-wired emergency stop is in reach and was tried. benchctl is no safety device.",
    "· Cables, earthing and phase rotation were checked by a qualified person, upstream protection is set.",
    "· Air can leave the banks freely: nothing combustible, no person and no intake in the hot air.",
    "· The area is fenced off, somebody watches source and banks as long as load is on or resistors are hot.",
)
