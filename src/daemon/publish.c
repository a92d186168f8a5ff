#include "publish.h"

#include "wire/wire.h"

#include <stdlib.h>
#include <string.h>

bool publish_add(struct publisher *p, publish_fn *fn, void *ctx)
{
    for (size_t i = 0; i < PUBLISH_SLOTS; i++) {
        if (p->slots[i].fn == NULL) {
            p->slots[i] = (struct publish_slot){fn, ctx};
            p->n++;
            return true;
        }
    }
    return false;
}

void publish_remove(struct publisher *p, publish_fn *fn, void *ctx)
{
    for (size_t i = 0; i < PUBLISH_SLOTS; i++) {
        if (p->slots[i].fn == fn && p->slots[i].ctx == ctx) {
            p->slots[i] = (struct publish_slot){NULL, NULL};
            p->n--;
        }
    }
}

bool publish_wanted(const struct publisher *p)
{
    return p->n > 0;
}

char *publish_line(const json_t *object, size_t *len)
{
    char *text = lm_wire_dumps(object);
    if (text == NULL) {
        return NULL;
    }
    *len = strlen(text);
    char *line = realloc(text, *len + 2);
    if (line == NULL) {
        free(text);
        return NULL;
    }
    memcpy(line + *len, "\n", 2);
    *len += 1;
    return line;
}

void publish_text(struct publisher *p, const char *line, size_t len, int64_t seq)
{
    unsigned left = p->n;
    for (size_t i = 0; left > 0 && i < PUBLISH_SLOTS; i++) {
        if (p->slots[i].fn != NULL) {
            left--;
            p->slots[i].fn(line, len, seq, p->slots[i].ctx);
        }
    }
}

void publish_send(struct publisher *p, json_t *object, int64_t seq)
{
    size_t len = 0;
    char *line = object != NULL && p->n > 0 ? publish_line(object, &len) : NULL;
    if (line != NULL) {
        publish_text(p, line, len, seq);
    }
    free(line);
    json_decref(object);
}
