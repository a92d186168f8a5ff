/* Stands in for the list of the page's files, which make writes. */
PAGE_FILE(race_html, "race.html")
