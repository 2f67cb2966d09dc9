"""Every seed that has ever broken a law, with what it had found. They are played in every run of the tests."""

FAILED: dict[int, str] = {
    6: "a set point still stood in a bank whose watchdog resumes: its load came back beside the rest",
}
