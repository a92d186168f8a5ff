/* Any bytes as an event line: what parses is written back and parses to the same. */
#include "lugmark/eventline.h"

#include <stdint.h>
#include <stdlib.h>
#include <string.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    struct lm_eventline *first = lm_eventline_new(), *second = lm_eventline_new();
    struct lm_event ev, again;
    struct lm_problem p = {0};
    if (lm_eventline_parse(first, (const char *) data, size, &ev, &p) == LM_OK) {
        char *text = lm_eventline_text(&ev);
        if (!text || lm_eventline_parse(second, text, strlen(text), &again, &p) != LM_OK)
            abort();
        char *twice = lm_eventline_text(&again);
        if (!twice || strcmp(text, twice) != 0)
            abort();
        free(text);
        free(twice);
    }
    lm_eventline_free(first);
    lm_eventline_free(second);
    return 0;
}
