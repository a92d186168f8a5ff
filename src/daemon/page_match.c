#include "page_match.h"

#include <string.h>

void match_begin(struct match_best *best, const char *q, unsigned limit)
{
    lm_visual_fold(q, best->q);
    best->limit = limit;
    best->n = 0;
}

static bool is_digit(char c)
{
    return c >= '0' && c <= '9';
}

/* Two runs of digits; both are passed over. */
static int order_digits(const char **a, const char **b)
{
    const char *x = *a + strspn(*a, "0"), *y = *b + strspn(*b, "0");
    size_t n = strspn(x, "0123456789"), m = strspn(y, "0123456789");
    *a = x + n;
    *b = y + m;
    return n != m ? (n < m ? -1 : 1) : memcmp(x, y, n);
}

int match_order(const char *a, const char *b)
{
    const char *x = a, *y = b;
    while (*x != '\0' && *y != '\0') {
        int order = 0;
        if (is_digit(*x) && is_digit(*y)) {
            order = order_digits(&x, &y);
        } else {
            order = (unsigned char) *x++ - (unsigned char) *y++;
        }
        if (order != 0) {
            return order;
        }
    }
    if (*x != '\0' || *y != '\0') {
        return *x != '\0' ? 1 : -1;
    }
    return strcmp(a, b); /* only zeros differ */
}

static int order(const struct match *a, const struct match *b)
{
    if (a->inside != b->inside) {
        return a->inside ? 1 : -1;
    }
    int by_number = match_order(a->number, b->number);
    return by_number != 0 ? by_number : (a->animal > b->animal) - (a->animal < b->animal);
}

/* Take a text as what the animal is meant by, if it is better than what it had. */
static void take(const struct match_best *best, const char *text, struct match *m, bool *found)
{
    struct match now = {.animal = m->animal};
    lm_visual_fold(text, now.number);
    const char *at = now.number[0] != '\0' ? strstr(now.number, best->q) : NULL;
    if (at == NULL) {
        return;
    }
    now.inside = at != now.number;
    if (!*found || order(&now, m) < 0) {
        *m = now;
        *found = true;
    }
}

static void keep(struct match_best *best, const struct match *m)
{
    unsigned at = best->n;
    while (at > 0 && order(m, &best->all[at - 1]) < 0) {
        at--;
    }
    if (at >= best->limit) {
        return;
    }
    unsigned n = best->n < best->limit ? best->n : best->limit - 1;
    memmove(&best->all[at + 1], &best->all[at], (n - at) * sizeof *m);
    best->all[at] = *m;
    best->n = n + 1;
}

bool match_animal(struct match_best *best, const struct lm_roll *roll, uint32_t animal, bool all)
{
    struct lm_roll_animal a = lm_roll_animal(roll, animal);
    struct match m = {.animal = animal};
    bool found = false;
    for (uint32_t k = 0; k < a.n_devices; k++) {
        struct lm_roll_device d = lm_roll_device(roll, animal, k);
        char code[LM_EID_TEXT_SIZE];
        if (!d.gone || all) {
            take(best, d.visual, &m, &found);
        }
        if (all && !found && best->q[0] != '\0' && d.eid.known != LM_EID_NONE) {
            take(best, lm_eid_format(d.eid, code), &m, &found);
        }
    }
    if (best->q[0] != '\0' || !found) {
        take(best, a.key, &m, &found);
    }
    if (found) {
        keep(best, &m);
    }
    return found;
}
