/* One request to the daemon and its answer. */
#include "client.h"

#include <string.h>
#include <sys/random.h>
#include <time.h>

#include "out_json.h"
#include "problem.h"
#include "report/tongue.h"

#define ANSWER_MS 30000 /* opening a big lot or closing a big session takes the daemon a while */
#define TRIES 5         /* a daemon that was restarted is back within a second or two */

enum lm_err lm_client_token(json_t *request)
{
    unsigned char random[12];
    char hex[2 * sizeof random + 1];
    if (getrandom(random, sizeof random, 0) != (ssize_t) sizeof random)
        return LM_EIO;
    for (size_t i = 0; i < sizeof random; i++)
        snprintf(hex + 2 * i, 3, "%02x", random[i]);
    json_object_set_new(request, "token", json_string(hex));
    return LM_OK;
}

/* Send and wait for the line that carries "ok"; lines of a stream are none of ours. */
static enum lm_err exchange(struct lm_client *client, const json_t *request, json_t **answer)
{
    char *line;
    size_t len;
    enum lm_err err = lm_client_send(client, request);
    while (err == LM_OK && (err = lm_client_line(client, ANSWER_MS, &line, &len)) == LM_OK) {
        json_t *got = json_loadb(line, len, 0, NULL);
        if (json_object_get(got, "ok") != NULL) {
            *answer = got;
            return LM_OK;
        }
        json_decref(got);
    }
    return err;
}

static int not_answered(enum lm_err err, const char *path)
{
    if (err == LM_EAGAIN)
        return lm_fail(
            LM_EXIT_FAILED, _("look at its log"), _("the daemon at %s does not answer"), path);
    if (err == LM_EINPUT)
        return lm_fail(LM_EXIT_INPUT, "open it by mob, or split the lot",
            "the lot has too many animals for one request");
    return lm_fail(LM_EXIT_FAILED, _("look at the session with lugmark findings before going on"),
        _("the daemon at %s went away before it answered"), path);
}

static int refused(const json_t *answer)
{
    char error[LM_PROBLEM_TEXT_MAX], mend[LM_PROBLEM_TEXT_MAX];
    int64_t exit = lm_json_int(answer, "exit", LM_EXIT_FAILED);
    lm_json_text(answer, "error", error, sizeof error);
    lm_json_text(answer, "mend", mend, sizeof mend);
    return lm_fail(exit >= LM_EXIT_USAGE && exit <= LM_EXIT_FAILED ? (int) exit : LM_EXIT_FAILED,
        mend[0] != '\0' ? mend : NULL, "%s", error[0] != '\0' ? error : _("the daemon refused"));
}

static int ask(const char *path, const json_t *request, json_t **answer)
{
    bool again = json_object_get(request, "token") != NULL, asked = false;
    struct lm_problem p = {0};
    enum lm_err err = LM_EGONE;
    for (int i = 0; i < TRIES && (i == 0 || (again && asked)); i++) {
        struct lm_client *client = NULL;
        if (i > 0)
            nanosleep(&(struct timespec){.tv_nsec = 400000000L}, NULL);
        err = lm_client_connect(path, &client, &p);
        if (err != LM_OK)
            continue;
        asked = true;
        err = exchange(client, request, answer);
        lm_client_close(client);
        if (err != LM_EGONE)
            break;
    }
    if (err == LM_OK)
        return lm_json_true(*answer, "ok") ? LM_EXIT_OK : refused(*answer);
    if (asked)
        return not_answered(err, path);
    lm_problem_print(&p);
    return LM_EXIT_FAILED;
}

int lm_client_ask(const struct lm_args *args, json_t *request, json_t **answer)
{
    char path[256];
    *answer = NULL;
    if (request == NULL)
        return lm_fail(LM_EXIT_FAILED, NULL, "out of memory");
    int exit = lm_client_path(args, path, sizeof path);
    if (exit == LM_EXIT_OK)
        exit = ask(path, request, answer);
    json_decref(request);
    if (exit != LM_EXIT_OK) {
        json_decref(*answer);
        *answer = NULL;
    }
    return exit;
}
