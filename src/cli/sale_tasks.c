/* What must still be done before loading, each thing once with the animals it is about. */
#include "sale.h"
#include "report/tongue.h"

#include <stdlib.h>
#include <string.h>

/* A failed rule says how to mend it; one that is not known says what to look at. */
static void write_text(
    const struct lm_speech *in, const struct lm_sale_result *r, char *out, size_t size)
{
    const char *of = r->rule == NULL                                                ? r->words
                     : r->outcome == LM_OUTCOME_UNKNOWN || r->rule->todo[0] == '\0' ? r->rule->text
                                                                                    : r->rule->todo;
    if (r->rule == NULL)
        snprintf(out, size, lm_sale_in(in, N_("clear up what came %s")), of);
    else if (r->outcome == LM_OUTCOME_UNKNOWN)
        snprintf(out, size, lm_sale_in(in, N_("find out: %s")), lm_sale_in(in, of));
    else
        snprintf(out, size, "%s", lm_sale_in(in, of));
}

static struct lm_sale_task *task_of(struct lm_sale_tasks *tasks, const char *text)
{
    for (size_t i = 0; i < tasks->n; i++)
        if (strcmp(tasks->at[i].text, text) == 0)
            return &tasks->at[i];
    if (tasks->n == tasks->room) {
        size_t room = tasks->room > 0 ? 2 * tasks->room : 32;
        struct lm_sale_task *more = realloc(tasks->at, room * sizeof *more);
        if (more == NULL)
            return NULL;
        tasks->at = more;
        tasks->room = room;
    }
    struct lm_sale_task *task = &tasks->at[tasks->n++];
    memset(task, 0, sizeof *task);
    snprintf(task->text, sizeof task->text, "%s", text);
    return task;
}

static void add_rule(struct lm_sale_task *task, const char *id)
{
    size_t used = strlen(task->rules), len = strlen(id);
    const char *at = task->rules;
    while ((at = strstr(at, id)) != NULL) {
        bool begins = at == task->rules || at[-1] == ' ';
        if (begins && (at[len] == '\0' || at[len] == ','))
            return;
        at += len;
    }
    if (used + len + 3 < sizeof task->rules)
        snprintf(task->rules + used, sizeof task->rules - used, "%s%s", used > 0 ? ", " : "", id);
}

/* The same animal stands there once: its results come one after the other. */
static enum lm_err add_animal(struct lm_sale_task *task, size_t animal)
{
    if (task->n > 0 && task->animals[task->n - 1] == animal)
        return LM_OK;
    if (task->n == task->room) {
        size_t room = task->room > 0 ? 2 * task->room : 16;
        size_t *more = realloc(task->animals, room * sizeof *more);
        if (more == NULL)
            return LM_ENOMEM;
        task->animals = more;
        task->room = room;
    }
    task->animals[task->n++] = animal;
    return LM_OK;
}

static enum lm_err add(const struct lm_sale *sale, size_t result, size_t animal, bool of_lot,
    struct lm_sale_tasks *tasks)
{
    const struct lm_sale_result *r = &sale->results[result];
    char text[sizeof tasks->at->text];
    if (r->attention == LM_GO)
        return LM_OK;
    write_text(sale->said.ctx.speech, r, text, sizeof text);
    struct lm_sale_task *task = task_of(tasks, text);
    if (task == NULL)
        return LM_ENOMEM;
    task->attention = r->attention > task->attention ? r->attention : task->attention;
    add_rule(task, lm_sale_id(r));
    return of_lot ? LM_OK : add_animal(task, animal);
}

static int by_weight(const void *a, const void *b)
{
    const struct lm_sale_task *x = a, *y = b;
    if (x->attention != y->attention)
        return x->attention > y->attention ? -1 : 1;
    return x->n != y->n ? (x->n > y->n ? -1 : 1) : strcmp(x->text, y->text);
}

enum lm_err lm_sale_tasks_make(const struct lm_sale *sale, struct lm_sale_tasks *tasks)
{
    enum lm_err err = LM_OK;
    memset(tasks, 0, sizeof *tasks);
    for (size_t i = 0; i < sale->n_animals; i++) {
        const struct lm_sale_animal *a = &sale->animals[i];
        for (size_t k = 0; err == LM_OK && k < a->n_results; k++)
            err = add(sale, a->first + k, i, false, tasks);
    }
    for (size_t k = sale->lot_first; err == LM_OK && k < sale->n_results; k++)
        err = add(sale, k, 0, true, tasks);
    if (err == LM_OK && tasks->n > 0)
        qsort(tasks->at, tasks->n, sizeof *tasks->at, by_weight);
    return err;
}

void lm_sale_tasks_free(struct lm_sale_tasks *tasks)
{
    for (size_t i = 0; i < tasks->n; i++)
        free(tasks->at[i].animals);
    free(tasks->at);
    memset(tasks, 0, sizeof *tasks);
}
