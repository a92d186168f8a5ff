/*
 * Cold starts: run commands by turns and say how long each took from its start to its end.
 * usage: spawn ROUNDS COMMAND [ARG]... [-- COMMAND [ARG]...]...; prints a median in milliseconds a
 * command. What they write goes nowhere.
 */
#include <fcntl.h>
#include <spawn.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>
#include <time.h>

#define COMMANDS 16
#define ROUNDS_MAX 10000

extern char **environ;

static double now_ms(void)
{
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return (double) t.tv_sec * 1e3 + (double) t.tv_nsec / 1e6;
}

static int by_size(const void *a, const void *b)
{
    double x = *(const double *) a, y = *(const double *) b;
    return (x > y) - (x < y);
}

int main(int argc, char **argv)
{
    static double took[COMMANDS][ROUNDS_MAX];
    char **commands[COMMANDS];
    int n = 0, rounds = argc > 2 ? atoi(argv[1]) : 0;
    posix_spawn_file_actions_t quiet;
    if (rounds < 1 || rounds > ROUNDS_MAX)
        return 2;
    commands[n++] = argv + 2;
    for (int i = 2; i < argc && n < COMMANDS; i++)
        if (strcmp(argv[i], "--") == 0) {
            argv[i] = NULL;
            commands[n++] = argv + i + 1;
        }
    posix_spawn_file_actions_init(&quiet);
    posix_spawn_file_actions_addopen(&quiet, 0, "/dev/null", O_RDONLY, 0);
    posix_spawn_file_actions_addopen(&quiet, 1, "/dev/null", O_WRONLY, 0);
    posix_spawn_file_actions_addopen(&quiet, 2, "/dev/null", O_WRONLY, 0);
    for (int r = 0; r < rounds; r++)
        for (int k = 0; k < n; k++) {
            pid_t pid;
            int status;
            double begin = now_ms();
            if (posix_spawnp(&pid, commands[k][0], &quiet, NULL, commands[k], environ) != 0 ||
                waitpid(pid, &status, 0) != pid)
                return 1;
            took[k][r] = now_ms() - begin;
        }
    for (int k = 0; k < n; k++) {
        qsort(took[k], (size_t) rounds, sizeof took[k][0], by_size);
        printf("%.3f\n", took[k][rounds / 2]);
    }
    return 0;
}
