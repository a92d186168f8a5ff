/* lugmark rehearse: play a simulated mob through a pseudo-terminal to a running daemon. */
#include "command.h"

#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

#include "client.h"
#include "open_db.h"
#include "out_json.h"
#include "problem.h"
#include "rehearse_check.h"
#include "rehearse_port.h"
#include "report/tongue.h"

struct rehearsal {
    const struct lm_args *args;
    struct lm_roll *roll;
    struct lm_wishes wishes;
    struct lm_plan plan;
    struct lm_fake_port ports[2];
};

static enum lm_err into_roll(const struct lm_record *rec, long line, void *ctx)
{
    (void) line;
    return lm_roll_put(ctx, rec, NULL);
}

static int load_roll(struct rehearsal *r)
{
    struct lm_store *store = NULL;
    int exit = lm_db_open(r->args, LM_STORE_READ, &store);
    if (exit != LM_EXIT_OK)
        return exit;
    r->roll = lm_roll_new();
    if (!r->roll || lm_store_each(store, into_roll, r->roll) != LM_OK)
        exit = r->roll ? lm_db_fail(store) : lm_fail(LM_EXIT_FAILED, NULL, "out of memory");
    else
        lm_roll_expect_mob(r->roll, lm_arg(r->args, "mob"));
    lm_store_close(store);
    return exit;
}

/** `absent=3,stranger=1` into the counts. */
static int parse_faults(const struct lm_args *args, unsigned count[LM_FAULTS])
{
    char text[256];
    const char *list = lm_arg(args, "faults");
    snprintf(text, sizeof text, "%s",
        list ? list
             : "absent=2,dead-code=1,stranger=1,again=1,other-mob=1,gone=1,misread=1,crossed=1,"
               "old=1,two-lanes=1,test-code=1");
    char *rest = text;
    for (char *word = strtok_r(rest, ",", &rest); word; word = strtok_r(rest, ",", &rest)) {
        char *equals = strchr(word, '='), *end = NULL;
        unsigned f = 0;
        long n = equals ? strtol(equals + 1, &end, 10) : -1;
        if (equals)
            *equals = '\0';
        while (f < LM_FAULTS && strcmp(word, lm_fault_name((enum lm_fault) f)) != 0)
            f++;
        if (f == LM_FAULTS || n < 0 || n > 100000 || !end || *end)
            return lm_usage(args, "--faults: \"%s\" is no fault=number", word);
        count[f] = (unsigned) n;
    }
    return LM_EXIT_OK;
}

static int parse(struct rehearsal *r)
{
    long seed = 1, gap = 2000, rearm = 30000;
    if (!lm_arg_number(r->args, "seed", 0, 1000000000, &seed) ||
        !lm_arg_number(r->args, "gap-ms", 20, 600000, &gap) ||
        !lm_arg_number(r->args, "rearm-ms", 0, 3600000, &rearm))
        return LM_EXIT_USAGE;
    if (!lm_arg(r->args, "port"))
        return lm_usage(r->args, "--port LINK is needed: the daemon's configured port");
    r->wishes = (struct lm_wishes){.seed = (uint64_t) seed,
        .gap_ms = gap,
        .rearm_ms = rearm,
        .lanes = lm_arg(r->args, "port2") ? 2 : 1};
    return parse_faults(r->args, r->wishes.count);
}

static int open_ports(struct rehearsal *r)
{
    for (unsigned i = 0; i < r->wishes.lanes; i++) {
        struct lm_problem p = {0};
        const char *port = lm_arg(r->args, i == 0 ? "port" : "port2");
        if (lm_fake_port_open(&r->ports[i], port, &p) != LM_OK)
            return lm_problem_fail(&p);
    }
    for (unsigned i = 0; i < r->wishes.lanes; i++) {
        if (lm_fake_port_wait(&r->ports[i], 15000) != LM_OK)
            return lm_fail(LM_EXIT_FAILED, "give the daemon a reader with this port and start it",
                "no daemon opened %s within 15 seconds", r->ports[i].link);
    }
    return LM_EXIT_OK;
}

static void sleep_until(const struct timespec *begin, int64_t at_ms)
{
    struct timespec when = *begin;
    when.tv_sec += (time_t) (at_ms / 1000);
    when.tv_nsec += (long) (at_ms % 1000) * 1000000;
    if (when.tv_nsec >= 1000000000) {
        when.tv_sec++;
        when.tv_nsec -= 1000000000;
    }
    while (clock_nanosleep(CLOCK_MONOTONIC, TIMER_ABSTIME, &when, NULL) == EINTR)
        ;
}

static int ask(struct rehearsal *r, json_t *request)
{
    json_t *answer = NULL;
    if (lm_client_token(request) != LM_OK) {
        json_decref(request);
        return LM_EXIT_FAILED;
    }
    int exit = lm_client_ask(r->args, request, &answer);
    json_decref(answer);
    return exit;
}

static int play(struct rehearsal *r)
{
    struct timespec begin;
    clock_gettime(CLOCK_MONOTONIC, &begin);
    for (size_t i = 0; i < r->plan.n_steps; i++) {
        const struct lm_step *step = &r->plan.steps[i];
        sleep_until(&begin, step->at_ms);
        if (step->kind == LM_STEP_READ) {
            if (lm_fake_port_send(&r->ports[step->lane - 1], step->eid, (unsigned) i) != LM_OK)
                return lm_fail(LM_EXIT_FAILED, "is the daemon still running?",
                    "the port %s takes no more", r->ports[step->lane - 1].link);
            continue;
        }
        int exit = ask(r, json_pack("{s:s,s:s,s:s,s:b}", "do", "saw", "number", step->number,
                              "lane", "1", "on_last", (int) step->on_last));
        if (exit != LM_EXIT_OK)
            return exit;
    }
    struct timespec last = {.tv_sec = 0, .tv_nsec = 300000000};
    nanosleep(&last, NULL);
    return LM_EXIT_OK;
}

/* A file of its own or one that was there: never through a link, and nothing but a file. */
static FILE *open_truth(const char *path)
{
    struct stat st;
    int fd = open(path, O_WRONLY | O_CREAT | O_NOFOLLOW | O_NONBLOCK | O_CLOEXEC, 0666);
    if (fd < 0)
        return NULL;
    FILE *out = NULL;
    errno = EINVAL;
    if (fstat(fd, &st) == 0 && S_ISREG(st.st_mode) && ftruncate(fd, 0) == 0)
        out = fdopen(fd, "w");
    if (out == NULL)
        close(fd);
    return out;
}

static int write_truth(struct rehearsal *r)
{
    const char *path = lm_arg(r->args, "truth");
    if (!path)
        return LM_EXIT_OK;
    FILE *out = open_truth(path);
    enum lm_err err = out ? lm_plan_write(out, &r->plan, r->roll, r->wishes.seed) : LM_EIO;
    if (out && fclose(out) != 0)
        err = LM_EIO;
    return err ? lm_fail(LM_EXIT_FAILED, NULL, "cannot write %s: %s", path, strerror(errno))
               : LM_EXIT_OK;
}

static void say_short(const struct rehearsal *r)
{
    for (unsigned f = 0; f < LM_FAULTS; f++) {
        if (r->plan.short_of[f])
            fprintf(stderr, "lugmark: rehearse: %u of the faults \"%s\" found no animal for them\n",
                r->plan.short_of[f], lm_fault_name((enum lm_fault) f));
    }
}

static int check(struct rehearsal *r)
{
    json_t *answer = NULL;
    int exit = lm_client_ask(r->args, json_pack("{s:s}", "do", "findings"), &answer);
    if (exit != LM_EXIT_OK)
        return exit;
    unsigned wrong =
        lm_rehearse_check(stdout, &r->plan, r->roll, json_object_get(answer, "findings"));
    json_decref(answer);
    return wrong ? LM_EXIT_FLAGGED : LM_EXIT_OK;
}

static int rehearse(struct rehearsal *r)
{
    int exit = parse(r);
    if (exit == LM_EXIT_OK)
        exit = load_roll(r);
    if (exit != LM_EXIT_OK)
        return exit;
    if (lm_plan_make(r->roll, &r->wishes, &r->plan) != LM_OK)
        return lm_fail(LM_EXIT_FAILED, NULL, "out of memory");
    say_short(r);
    exit = write_truth(r);
    if (exit == LM_EXIT_OK)
        exit = open_ports(r);
    if (exit == LM_EXIT_OK) {
        const char *mob = lm_arg(r->args, "mob");
        json_t *request = json_pack("{s:s,s:s}", "do", "open", "kind", "walk");
        if (mob)
            json_object_set_new(request, "mob", json_string(mob));
        exit = ask(r, request);
    }
    if (exit == LM_EXIT_OK)
        exit = play(r);
    if (exit == LM_EXIT_OK)
        exit = ask(r, json_pack("{s:s,s:i}", "do", "head", "n", (int) r->plan.heads));
    if (exit == LM_EXIT_OK)
        exit = ask(r, json_pack("{s:s}", "do", "close"));
    if (exit == LM_EXIT_OK)
        exit = check(r);
    return exit;
}

static int run(const struct lm_args *args)
{
    struct rehearsal r = {.args = args, .ports = {{.master = -1}, {.master = -1}}};
    int exit = rehearse(&r);
    for (int i = 0; i < 2; i++)
        lm_fake_port_close(&r.ports[i]);
    lm_plan_free(&r.plan);
    lm_roll_free(r.roll);
    return exit;
}

static const struct lm_option options[] = {
    {"port", 'p', "LINK", "link to make, the port of the daemon's reader on lane 1"},
    {"port2", 0, "LINK", "the same for lane 2"},
    {"mob", 'm', "MOB", "walk this mob (default: every animal on the farm)"},
    {"seed", 's', "N", "the same seed gives the same rehearsal (default 1)"},
    {"gap-ms", 'g', "MS", "from one animal to the next (default 2000)"},
    {"rearm-ms", 0, "MS", "the lane's re-arm time (default 30000)"},
    {"faults", 'f', "LIST", "what to plant, as absent=2,stranger=1,..."},
    {"truth", 't', "FILE", "write what was planted"},
    {NULL, 0, NULL, NULL},
};

const struct lm_command lm_command_rehearse = {
    .name = "rehearse",
    .group = LM_GROUP_RACE,
    .summary = N_("Play a pretended mob to the daemon and check what it found"),
    .arguments = "",
    .details = "Opens a session, walks the mob through a pseudo-terminal, calls numbers where a\n"
               "code is dead, counts heads, closes, and compares the findings with what was\n"
               "planted. Faults: absent, dead-code, stranger, test-code, again, other-mob, gone,\n"
               "misread, crossed, old, two-lanes.",
    .example = "lugmark rehearse --port /tmp/front --mob does --gap-ms 500",
    .options = options,
    .min_rest = 0,
    .max_rest = 0,
    .run = run,
};
