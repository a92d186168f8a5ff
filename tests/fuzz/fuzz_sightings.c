/* Any bytes as a file of sightings: all of them are given once, in the end, or problems told. */
#include "fuzz_help.h"

#include "cli/sightings.h"

struct given {
    size_t n;
};

static enum lm_err give(const struct lm_event *ev, const char *file, long line, void *ctx)
{
    struct given *g = ctx;
    MUST(ev->kind == LM_EVENT_SIGHTING && ev->text[0] != '\0' && file != NULL && line > 0);
    g->n++;
    return LM_OK;
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    struct lm_problems problems = {0};
    struct given early = {0}, rest = {0};
    struct lm_eid eid;
    FILE *in = fuzz_file(data, size);
    struct lm_sightings *s = lm_sightings_read(in, "sightings", &problems);
    fclose(in);
    if (s == NULL)
        return 0;
    MUST(lm_eid_make(999, 12345, &eid) == LM_OK);
    MUST(lm_sightings_before(s, 1777000000000, give, &early) == LM_OK);
    MUST(lm_sightings_after(s, eid, give, &early) == LM_OK);
    MUST(lm_sightings_rest(s, give, &early) == LM_OK);
    MUST(lm_sightings_rest(s, give, &rest) == LM_OK && rest.n == 0);
    MUST(early.n <= size);
    lm_sightings_free(s);
    return 0;
}
