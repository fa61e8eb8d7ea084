/* Strings in a plane, best first, see survey/propagation/around/search.py. */

#include "around.h"

double edge_loss_db(double nu)
{
    if (nu <= -0.78) return 0.0;
    return larger(0.0, 6.9 + 20.0 * log10(sqrt((nu - 0.1) * (nu - 0.1) + 1.0) + nu - 0.1));
}

/* Whether all that stands at a corner lies to one side of a direction; side 1 for the left. */
static bool on_side(const Corner *corner, double dx, double dy, double side)
{
    for (int i = 0; i < corner->arm_count; i++)
        if (side * (dx * corner->arms[i].dy - dy * corner->arms[i].dx) < -TOUCH_M) return false;
    return true;
}

static bool can_wrap(const Section *section, int corner, double ux, double uy)
{
    bool left = false, right = false;
    const Corner *here = section->corners + corner;
    for (int i = 0; i < here->arm_count; i++) {
        double off = ux * here->arms[i].dy - uy * here->arms[i].dx;
        left |= off > TOUCH_M;
        right |= off < -TOUCH_M;
    }
    return !(left && right);
}

static bool has_corner(const Scratch *scratch, int step, int corner)
{
    for (; step >= 0; step = scratch->steps[step].before)
        if (scratch->steps[step].corner == corner) return true;
    return false;
}

static bool before(const Scratch *scratch, int one, int other)
{
    double bound_db = scratch->steps[one].bound_db, other_db = scratch->steps[other].bound_db;
    return bound_db < other_db || (bound_db == other_db && one < other);
}

/* Open strings are a heap: none comes before the one at half its place. */
static void open_step(Scratch *scratch, int number)
{
    int at = scratch->open_count++;
    for (; at > 0 && before(scratch, number, scratch->open[(at - 1) / 2]); at = (at - 1) / 2) scratch->open[at] = scratch->open[(at - 1) / 2];
    scratch->open[at] = number;
}

static bool add_step(Scratch *scratch, Step step)
{
    if (!make_room(&scratch->steps, &scratch->step_room, scratch->step_count + 1, sizeof *scratch->steps)) return false;
    if (!make_room(&scratch->open, &scratch->open_room, scratch->open_count + 1, sizeof *scratch->open)) return false;
    scratch->steps[scratch->step_count] = step;
    open_step(scratch, scratch->step_count++);
    return true;
}

/* The open string of the lowest bound, of equal ones the first that was found; it is open no more. */
static int take_best(Scratch *scratch)
{
    int taken = scratch->open[0], count = --scratch->open_count, last = scratch->open[count], at = 0;
    for (int next; (next = 2 * at + 1) < count; at = next) {
        if (next + 1 < count && before(scratch, scratch->open[next + 1], scratch->open[next])) next++;
        if (!before(scratch, scratch->open[next], last)) break;
        scratch->open[at] = scratch->open[next];
    }
    scratch->open[at] = last;
    return taken;
}

static void keep(const Scratch *scratch, int step, Path *path)
{
    const Step *last = scratch->steps + step;
    path->bound_db = last->bound_db;
    path->length_m = last->length_m;
    path->through_db = last->through_db;
    path->corner_count = last->corner_count - 1;
    path->step = step;
    path->passed_count = path->beside_count = 0;
    for (int at = step; at >= 0; at = scratch->steps[at].before) {
        path->passed_count += scratch->steps[at].passed_count;
        path->beside_count += scratch->steps[at].beside_count;
    }
    for (int i = path->corner_count - 1, at = last->before; i >= 0; i--, at = scratch->steps[at].before)
        path->corners[i] = scratch->steps[at].corner;
}

/* Begin: nothing is open but the start; false without memory. */
bool search(const Section *section, Scratch *scratch, double length_m)
{
    Step nothing = {.before = -1, .corner = -1, .tested = true};
    int most = section->corner_count, count = 0;
    place_t end = {length_m, 0.0};
    if (!scratch->has_least)
        for (int i = 0; i < 32 * OCTAVES; i++)
            scratch->least_edge_db[i] = (float)(edge_loss_db(2.0 * sqrt(ldexp(1.0 + (i % 32) / 32.0, i / 32 + LEAST_OCTAVE))) - 1e-4);
    scratch->has_least = true;
    scratch->steps_done = scratch->step_count = scratch->open_count = scratch->passed_count = scratch->beside_count = 0;
    if (!make_room(&scratch->useful, &scratch->useful_room, most, sizeof *scratch->useful)) return false;
    if (!make_room(&scratch->useful_x, &scratch->places_room, 5 * most, sizeof *scratch->useful_x)) return false;
    scratch->useful_y = scratch->useful_x + most;
    scratch->useful_rest = scratch->useful_y + most;
    scratch->useful_size = scratch->useful_rest + most;
    scratch->useful_over = scratch->useful_size + most;
    for (int i = 0; i < most; i++) {
        const Corner *corner = section->corners + i;
        if (corner->flat || !corner->arm_count) continue;
        scratch->useful[count] = i;
        scratch->useful_x[count] = corner->x;
        scratch->useful_y[count] = corner->y;
        scratch->useful_rest[count++] = apart(corner_place(section, i), end);
    }
    scratch->useful_count = count;
    return add_step(scratch, nothing);
}

/* The longest detour that loses no more than so much, and a little more; what is longer need not be looked at. */
static double longest_detour_m(double loss_db, double wavelength_m)
{
    if (loss_db < 0.0) return -1.0;
    double t = pow(10.0, (loss_db - 6.9) / 20.0), nu = 0.1 + 0.5 * (t - 1.0 / t);
    return nu < 0.0 ? 1e-9 : 0.25 * nu * nu * wavelength_m * (1.0 + 1e-9) + 1e-9;
}

/* What a string loses that turns around a sheet to one side at its one end, and to the other, told by `left`, at its other end. */
static double crossed_face_loss_db(const Section *section, const Scratch *scratch, const Step *path, bool *left)
{
    if (path->corner_count < 2) return 0.0;
    const Step *last = scratch->steps + path->before;
    place_t b = corner_place(section, path->corner), a = corner_place(section, last->corner), from = {0.0, 0.0};
    if (path->corner_count > 2) from = corner_place(section, scratch->steps[last->before].corner);
    double dx = b.x - a.x, dy = b.y - a.y;
    *left = !((a.x - from.x) * dy - (a.y - from.y) * dx > 0.0);
    double size = apart(a, b), most_db = 0.0;
    dx /= size;
    dy /= size;
    for (int i = 0; i < section->count; i++) {
        const Segment *one = section->segments + i;
        double off_1 = (one->y1 - a.y) * dx - (one->x1 - a.x) * dy, off_2 = (one->y2 - a.y) * dx - (one->x2 - a.x) * dy;
        if (fabs(off_1) > TOUCH_M || fabs(off_2) > TOUCH_M) continue;
        double along_1 = (one->x1 - a.x) * dx + (one->y1 - a.y) * dy, along_2 = (one->x2 - a.x) * dx + (one->y2 - a.y) * dy;
        double begins = larger(smaller(along_1, along_2), 0.0), ends = smaller(larger(along_1, along_2), size);
        if (ends - begins > END_M && one->loss_db > most_db) most_db = one->loss_db;
    }
    return most_db;
}

/* What a turn loses that makes the way so much longer, at least: nothing where it only grazes, J where it is sharp. */
static double bend_loss_db(double detour_m, double wavelength_m)
{
    double loss_db = edge_loss_db(2.0 * sqrt(larger(0.0, detour_m) / wavelength_m));
    return larger(0.0, smaller(loss_db, STEEPER * (loss_db - BENT_DB)));
}

/* The longest detour of a single turn that loses no more than so much, and a little more. */
static double longest_bend_m(double loss_db, double wavelength_m)
{
    return longest_detour_m(larger(loss_db, BENT_DB + loss_db / STEEPER), wavelength_m);
}

/* Where a string stands that is to be led on: at a corner, or at the start of the line where there are no arms. */
typedef struct {
    place_t last, here, end;
    const Corner *corner; /* NULL at the start */
    double ux, uy, length_m, longest_m, bend_m; /* what it has done, and how long it may become, and how much longer by one turn */
    bool sides[2];
} Stand;

/* How far away corners are, and which of them may follow: most are out of reach, behind what stands here, or too sharp a turn. The
   tests are those of `extend`, with some room for rounding. */
static WIDE void measure(const Scratch *scratch, const Stand *at)
{
    int count = scratch->useful_count;
    const double *x = scratch->useful_x, *y = scratch->useful_y, *rest = scratch->useful_rest;
    double *size = scratch->useful_size, *over = scratch->useful_over; /* by how much a corner fails: negative for none */
    double here_x = at->here.x, here_y = at->here.y, longest_m = at->longest_m - at->length_m;
    for (int i = 0; i < count; i++) {
        double dx = x[i] - here_x, dy = y[i] - here_y;
        size[i] = sqrt(dx * dx + dy * dy);
        over[i] = larger(size[i] + rest[i] - longest_m, TOUCH_M - size[i]);
    }
    if (!at->corner) return;
    double ux = at->ux, uy = at->uy, last_x = at->last.x, last_y = at->last.y, left = at->sides[1] ? 0.0 : 1.0, right = at->sides[0] ? 0.0 : 1.0;
    double before_m = apart(at->last, at->here) - at->bend_m, rest_m = apart(at->here, at->end) + at->bend_m;
    for (int i = 0; i < count; i++) {
        double turn = ux * (y[i] - here_y) - uy * (x[i] - here_x), dx = x[i] - last_x, dy = y[i] - last_y;
        double bent = larger(before_m + size[i] - sqrt(dx * dx + dy * dy), size[i] + rest[i] - rest_m);
        over[i] = larger(over[i], larger(bent, turn > 0.0 ? left : right));
    }
    for (int k = 0; k < at->corner->arm_count; k++) {
        double ax = at->corner->arms[k].dx, ay = at->corner->arms[k].dy;
        for (int i = 0; i < count; i++) {
            double dx = x[i] - here_x, dy = y[i] - here_y, turn = ux * dy - uy * dx, off = dx * ay - dy * ax;
            over[i] = larger(over[i], (turn > 0.0 ? -off : off) - 2.0 * TOUCH_M * size[i]);
        }
    }
}

/* A little less than a turn of such a detour, in wavelengths, loses; most strings are given up for it, without a logarithm. */
static inline double least_bend_db(const Scratch *scratch, double detour)
{
    float small = (float)(detour * (1.0 - 1e-6));
    uint32_t bits;
    memcpy(&bits, &small, sizeof bits);
    int place = (int)(bits >> 18) - 32 * (127 + LEAST_OCTAVE);
    if (place < 0 || !(detour > 0.0)) return 0.0;
    double loss_db = scratch->least_edge_db[place < 32 * OCTAVES ? place : 32 * OCTAVES - 1];
    return larger(0.0, smaller(loss_db, STEEPER * (loss_db - BENT_DB)) - 1e-4);
}

/* Lead a string on to a corner so far away, or to the end where that is -1; false without memory. */
static bool extend(const Section *section, Scratch *scratch, int number, int to, place_t last, place_t here, double ux, double uy, const bool *sides, const double *faces_db,
                   double size, double long_m, double length_m, double wavelength_m, double most_db)
{
    const Step path = scratch->steps[number];
    int at = path.corner_count ? path.corner : -1;
    bool is_line = at < 0 && to < 0;
    place_t there = {length_m, 0.0};
    if (to >= 0) there = corner_place(section, to);
    double vx = (there.x - here.x) / size, vy = (there.y - here.y) / size;
    if (at >= 0) {
        double turn = ux * vy - uy * vx;
        if (fabs(turn) < LEAST_TURN && ux * vx + uy * vy > 0) return true;
        if (!sides[turn > 0 ? 1 : 0] || !on_side(section->corners + at, vx, vy, turn > 0 ? 1.0 : -1.0)) return true;
    }
    if (to >= 0 && !can_wrap(section, to, vx, vy)) return true;
    if (to >= 0 && has_corner(scratch, number, to)) return true;
    if (at >= 0) { /* the same as below, roughly */
        bool left = ux * vy - uy * vx > 0.0;
        double bent_db = least_bend_db(scratch, (apart(last, here) + size - apart(last, there)) / wavelength_m);
        if (path.corner_count > 1) bent_db += left == path.left ? path.bent_db : larger(0.0, path.bent_db - BACK_DB);
        if (to >= 0) {
            place_t end = {length_m, 0.0};
            double more_db = least_bend_db(scratch, (long_m - path.length_m - apart(here, end)) / wavelength_m);
            bool same = (vx * (end.y - there.y) - vy * (end.x - there.x) > 0.0) == left;
            bent_db = larger(bent_db, more_db + (same ? bent_db : larger(0.0, bent_db - BACK_DB)));
        }
        if (path.through_db + bent_db + faces_db[left] > most_db + 1e-6) return true;
    }
    double nu = 2.0 * sqrt(larger(0.0, long_m - length_m) / wavelength_m), bound_db = path.through_db;
    if (!is_line) bound_db += edge_loss_db(nu);
    if (bound_db > most_db) return true;
    double face_db = 0.0, bent_db = 0.0, most_bent_db = path.most_bent_db;
    bool left = ux * vy - uy * vx > 0.0;
    if (at >= 0) { /* the corner in between is turned at */
        bent_db = bend_loss_db(apart(last, here) + size - apart(last, there), wavelength_m);
        if (path.corner_count > 1) bent_db += left == path.left ? path.bent_db : larger(0.0, path.bent_db - BACK_DB);
        most_bent_db = larger(most_bent_db, bent_db);
        double ahead_db = most_bent_db;
        if (to >= 0) { /* and this one at least as for the straight way to the end */
            place_t end = {length_m, 0.0};
            double more_db = bend_loss_db(size + apart(there, end) - apart(here, end), wavelength_m);
            bool same = (vx * (end.y - there.y) - vy * (end.x - there.x) > 0.0) == left;
            ahead_db = larger(ahead_db, more_db + (same ? bent_db : larger(0.0, bent_db - BACK_DB)));
        }
        bound_db = larger(bound_db, path.through_db + ahead_db);
        face_db = faces_db[left];
        bound_db += face_db;
        if (bound_db > most_db) return true;
    }
    Step next = {.bound_db = bound_db,
                 .length_m = path.length_m + size,
                 .through_db = path.through_db + face_db,
                 .bent_db = bent_db,
                 .most_bent_db = most_bent_db,
                 .left = left,
                 .before = number,
                 .corner = to,
                 .corner_count = path.corner_count + 1,
                 .all_beside = path.all_beside};
    return add_step(scratch, next);
}

/* Find out what the last leg of a string meets; false without memory. */
static bool test_leg(const Section *section, Scratch *scratch, int number, double length_m, double most_db)
{
    Step *step = scratch->steps + number;
    const Step *path = scratch->steps + step->before;
    int at = path->corner_count ? path->corner : -1, to = step->corner;
    bool is_line = at < 0 && to < 0;
    place_t here = {0.0, 0.0}, there = {length_m, 0.0};
    if (at >= 0) here = corner_place(section, at);
    if (to >= 0) there = corner_place(section, to);
    Met met;
    step->first_passed = scratch->passed_count;
    step->first_beside = scratch->beside_count;
    step->tested = true;
    if (!met_by_leg(section, scratch, here, there, at, to, is_line ? 1e9 : most_db - step->bound_db, step->before, &met)) return false;
    if (at >= 0 && to >= 0 && step->bound_db + met.loss_db <= most_db) met.loss_db += along_face_loss_db(section, at, to, step->left);
    step->bound_db += met.loss_db;
    step->through_db += met.loss_db;
    step->all_beside += met.beside_count;
    step->passed_count = met.passed_count;
    step->beside_count = met.beside_count;
    if (step->bound_db <= most_db || is_line) {
        scratch->passed_count += met.passed_count;
        scratch->beside_count += met.beside_count;
    }
    return true;
}

/* The next string: 1 where there is one, 0 where no more can lose less than so much, -1 without memory. */
int next_string(const Section *section, Scratch *scratch, double length_m, double wavelength_m, double most_db, Path *path)
{
    while (scratch->open_count) {
        int number = scratch->open[0];
        double best_db = scratch->steps[number].bound_db;
        if (best_db > most_db || (scratch->steps_done >= MAX_STEPS && best_db > scratch->last_db + SAME_DB)) return 0;
        take_best(scratch);
        if (!scratch->steps[number].tested) {
            if (!test_leg(section, scratch, number, length_m, most_db)) return -1;
            if (scratch->steps[number].bound_db > best_db) {
                if (scratch->steps[number].bound_db <= most_db) open_step(scratch, number);
                continue;
            }
        }
        const Step last = scratch->steps[number];
        if (last.corner_count && last.corner < 0) {
            keep(scratch, number, path);
            return 1;
        }
        if (++scratch->steps_done <= MAX_STEPS) scratch->last_db = last.bound_db;
        place_t here = {0.0, 0.0}, before = {0.0, 0.0}, end = {length_m, 0.0};
        double ux = 0.0, uy = 0.0;
        bool sides[2] = {true, true}; /* whether it can turn to the right there, and to the left */
        double faces_db[2] = {0.0, 0.0}; /* what it loses for that */
        if (last.corner_count) {
            here = corner_place(section, last.corner);
            if (last.corner_count > 1) before = corner_place(section, scratch->steps[last.before].corner);
            double size = apart(before, here);
            ux = (here.x - before.x) / size;
            uy = (here.y - before.y) / size;
            sides[0] = on_side(section->corners + last.corner, ux, uy, -1.0);
            sides[1] = on_side(section->corners + last.corner, ux, uy, 1.0);
            bool left = false;
            double face_db = crossed_face_loss_db(section, scratch, &last, &left);
            faces_db[left] = face_db;
            sides[left] = sides[left] && last.through_db + face_db <= most_db;
        }
        double size = apart(here, end), left_db = most_db - last.through_db;
        if (size >= TOUCH_M &&
            !extend(section, scratch, number, -1, before, here, ux, uy, sides, faces_db, size, last.length_m + size, length_m, wavelength_m, most_db))
            return -1;
        if (last.corner_count >= MAX_CORNERS) continue;
        Stand at = {before, here, end, last.corner_count ? section->corners + last.corner : NULL, ux, uy, last.length_m,
                    length_m + longest_detour_m(left_db, wavelength_m), longest_bend_m(left_db, wavelength_m), {sides[0], sides[1]}};
        measure(scratch, &at);
        for (int i = 0; i < scratch->useful_count; i++) {
            if (scratch->useful_over[i] > 0.0) continue;
            double to_m = scratch->useful_size[i], long_m = last.length_m + to_m + scratch->useful_rest[i];
            if (!extend(section, scratch, number, scratch->useful[i], before, here, ux, uy, sides, faces_db, to_m, long_m, length_m, wavelength_m, most_db)) return -1;
        }
    }
    return 0;
}
