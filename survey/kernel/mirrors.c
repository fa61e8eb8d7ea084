/* Mirror paths, see survey/propagation/around/mirrors.py. */

#include "around.h"

/* A mirror that may bring something. */
typedef struct {
    double power, most; /* as if nothing else stood there, and with what stands in it */
    bool turns; /* whether it had rather turn around something than go through */
    double scale, at_m[3]; /* scale: what its longer way leaves, and how much it is a way of its own */
    Image image;
    Line line;
    Window window;
} Candidate;

/* Ends of a mirror's cut by a plane of its line, or by one beside it that still meets it, from right to left; false for none. */
static bool outline(const Bodies *bodies, int sheet, const Line *line, int plane, place_t *low, place_t *high)
{
    const double *out = plane ? line->up : line->left, *off = plane ? line->left : line->up;
    int from = bodies->first[sheet], to = bodies->first[sheet + 1], found = 0;
    double lows = INFINITY, highs = -INFINITY, inside = 0.0, shift = 0.0, last[3] = {0.0, 0.0, 0.0};
    place_t ends[2] = {{0.0, 0.0}, {0.0, 0.0}};
    for (int pass = 0; pass < 2; pass++) { /* first its extent beside the plane, then where it cuts the plane, or nearly */
        if (pass) {
            inside = smaller(1e-3, 0.25 * (highs - lows));
            shift = smaller(larger(0.0, lows + inside), highs - inside);
        }
        for (int c = pass ? from - 1 : from; c < to && found < 2; c++) {
            const double *corner = bodies->corner_m + 3 * (c < from ? to - 1 : c);
            double d[3] = {corner[0] - line->start_m[0], corner[1] - line->start_m[1], corner[2] - line->start_m[2]};
            double here[3] = {dot(d, line->along), dot(d, off), dot(d, out)};
            lows = smaller(lows, here[2]);
            highs = larger(highs, here[2]);
            if (pass && c >= from && (last[2] > shift) != (here[2] > shift)) {
                double share = (shift - last[2]) / (here[2] - last[2]);
                ends[found].x = last[0] + share * (here[0] - last[0]);
                ends[found++].y = last[1] + share * (here[1] - last[1]);
            }
            memcpy(last, here, sizeof last);
        }
    }
    bool rises = ends[0].y <= ends[1].y;
    *low = ends[rises ? 0 : 1];
    *high = ends[rises ? 1 : 0];
    return found == 2; /* seen edge on */
}

/* How far a place lies to the left of a line, as nu. */
static double as_nu(place_t place, const Line *line, double wavelength_m)
{
    double share = smaller(larger(place.x / line->length_m, NEAREST), 1.0 - NEAREST);
    return place.y * sqrt(2.0 / (wavelength_m * line->length_m * share * (1.0 - share)));
}

/* How far inside the nearest edge of a sheet a place of its plane lies; negative outside. */
static double inside_edges_m(const Bodies *bodies, int sheet, const double *at_m)
{
    const double *n = bodies->normal + 3 * sheet;
    int first = bodies->first[sheet], last = bodies->first[sheet + 1];
    double nearest_m = INFINITY;
    for (int c = first; c < last && nearest_m >= -TOUCH_M; c++) {
        const double *a = bodies->corner_m + 3 * c, *b = bodies->corner_m + 3 * (c + 1 < last ? c + 1 : first);
        double d[3] = {b[0] - a[0], b[1] - a[1], b[2] - a[2]}, p[3] = {at_m[0] - a[0], at_m[1] - a[1], at_m[2] - a[2]};
        double volume = n[0] * (d[1] * p[2] - d[2] * p[1]) + n[1] * (d[2] * p[0] - d[0] * p[2]) + n[2] * (d[0] * p[1] - d[1] * p[0]);
        nearest_m = smaller(nearest_m, volume / larger(sqrt(dot(d, d)), NEARER_M));
    }
    return nearest_m;
}

/* Roughly what a wave loses at least at all that stands between a mirror and both ends: through it or around. */
static double closed_loss_db(const Bodies *bodies, int mirror, const double *at_m, const double *const *ends_m, const double *legs_m,
                             double whole_m, double wavelength_m, bool *turns)
{
    double through_db = 0.0, worst_db = 0.0, total_db = 0.0;
    for (int end = 0; end < 2; end++) {
        const double *end_m = ends_m[end];
        double leg_m = legs_m[end], pass_db = 0.0, edge_db = 0.0;
        for (int s = 0; s < bodies->sheets; s++) {
            const double *n = bodies->normal + 3 * s;
            double away_1 = dot(n, at_m) - bodies->offset_m[s], away_2 = dot(n, end_m) - bodies->offset_m[s], share = away_1 / (away_1 - away_2);
            if (away_1 * away_2 < 0.0 && s != mirror && END_M < share * leg_m && share * leg_m < leg_m - END_M) {
                double hit[3], from_m = whole_m - leg_m + share * leg_m;
                for (int i = 0; i < 3; i++) hit[i] = at_m[i] + share * (end_m[i] - at_m[i]);
                double inside_m = inside_edges_m(bodies, s, hit);
                if (inside_m >= -TOUCH_M) { /* exactly at an edge two sheets meet, and each counts by half */
                    double nu = inside_m * sqrt(2.0 * whole_m / (wavelength_m * from_m * (whole_m - from_m)));
                    pass_db += (inside_m > TOUCH_M ? 1.0 : 0.5) * bodies->loss_db[s];
                    edge_db = larger(edge_db, edge_loss_db(nu) - edge_loss_db(0.0));
                }
            }
            if (s + 1 < bodies->sheets && bodies->solid[s + 1] == bodies->solid[s]) continue;
            if (pass_db <= edge_db) {
                through_db += pass_db;
            } else {
                worst_db = larger(worst_db, edge_db);
                total_db += edge_db;
            }
            pass_db = edge_db = 0.0;
        }
    }
    *turns = worst_db > TURNED_DB;
    return through_db + 0.5 * (worst_db + total_db);
}

/* The path by way of one sheet; false where it cannot bring more than so much. */
static bool candidate(const Bodies *bodies, Integrals *integrals, int sheet, const double *start_m, const double *end_m, double direct_m,
                      double wavelength_m, double least, Candidate *one)
{
    const double *square = bodies->normal + 3 * sheet;
    double n[3] = {square[0], square[1], square[2]}, offset = bodies->offset_m[sheet];
    double away_1 = dot(n, start_m) - offset, away_2 = dot(n, end_m) - offset;
    if (away_1 * away_2 <= 0.0 || smaller(fabs(away_1), fabs(away_2)) <= ON_MIRROR_M) return false;
    if (away_1 < 0.0) {
        for (int i = 0; i < 3; i++) n[i] = -n[i];
        offset = -offset;
        away_1 = -away_1;
        away_2 = -away_2;
    }
    int solid = bodies->solid[sheet];
    if (bodies->solid_first[solid + 1] - bodies->solid_first[solid] > 1 && dot(n, bodies->centre_m + 3 * solid) - offset > 0.0) return false;
    /* The end nearer to the mirror is the one that is mirrored, so that both directions give the same. */
    if (away_2 < away_1 - NEARER_M || (away_2 < away_1 + NEARER_M && end_m[2] < start_m[2])) {
        const double *other = start_m;
        double away = away_1;
        start_m = end_m;
        end_m = other;
        away_1 = away_2;
        away_2 = away;
    }
    double start[3] = {start_m[0] - 2.0 * away_1 * n[0], start_m[1] - 2.0 * away_1 * n[1], start_m[2] - 2.0 * away_1 * n[2]};
    Line line = line_of(start, end_m);
    double own = smooth(2.0 * sqrt(larger(line.length_m - direct_m, 0.0) / wavelength_m) / OWN_WAY_NU);
    if (own <= 0.0) return false;
    double x = line.length_m * away_1 / (away_1 + away_2);
    Window window;
    for (int plane = 0; plane < 2; plane++)
        if (!outline(bodies, sheet, &line, plane, window.low + plane, window.high + plane)) return false;
    double low[2], high[2], ratio = direct_m / line.length_m;
    one->scale = own * ratio * ratio;
    if (!(one->scale > least)) return false;
    for (int plane = 0; plane < 2; plane++) {
        low[plane] = as_nu(window.low[plane], &line, wavelength_m);
        high[plane] = as_nu(window.high[plane], &line, wavelength_m);
        if (low[plane] > MAX_OPEN_NU || high[plane] < -MAX_OPEN_NU) return false; /* it lies beside the line by too much */
    }
    for (int plane = 0; plane < 2; plane++) window.leaves[plane] = opening(integrals, low[plane], high[plane]);
    double across = window.leaves[0], aside = window.leaves[1];
    double both = smaller(across * aside, 1.0);
    one->power = both * both * one->scale;
    one->image.sheet = sheet;
    one->image.offset_m = offset;
    for (int i = 0; i < 3; i++) {
        one->image.normal[i] = n[i];
        one->at_m[i] = start[i] + x * line.along[i];
    }
    one->line = line;
    one->window = window;
    if (one->power <= least) return false;
    const double *ends_m[2] = {start_m, end_m};
    double legs_m[2] = {x, line.length_m - x};
    double closed_db = closed_loss_db(bodies, sheet, one->at_m, ends_m, legs_m, line.length_m, wavelength_m, &one->turns);
    one->most = one->power * pow(10.0, -closed_db / 10.0);
    return one->most > least;
}

/* Paths by way of mirrors beside all else that arrives, the strongest first; -1 without memory. */
int mirror_ways(const Bodies *bodies, Workspace *work, Integrals *integrals, const double *start_m, const double *end_m,
                double wavelength_m, double whole, Mirrored *found)
{
    double d[3] = {end_m[0] - start_m[0], end_m[1] - start_m[1], end_m[2] - start_m[2]}, direct_m = sqrt(dot(d, d));
    Candidate most[MAX_STRAIGHT + MAX_TURNED]; /* the strongest first, of equal ones the first sheet: those that do not turn, and then the others */
    int counts[2] = {0, 0}, kept = 0;
    for (int sheet = 0; sheet < bodies->sheets; sheet++) {
        Candidate one;
        if (!bodies->mirror[sheet] || !candidate(bodies, integrals, sheet, start_m, end_m, direct_m, wavelength_m, LEAST_SHARE * whole, &one))
            continue;
        Candidate *list = most + (one.turns ? MAX_STRAIGHT : 0);
        int room = one.turns ? MAX_TURNED : MAX_STRAIGHT, *count = counts + one.turns;
        if (*count == room && !(one.most > list[room - 1].most)) continue;
        int place = *count < room ? (*count)++ : room - 1;
        for (; place > 0 && list[place - 1].most < one.most; place--) list[place] = list[place - 1];
        list[place] = one;
    }
    work->passes.count = 0;
    for (int i = 0; i < MAX_STRAIGHT + counts[1]; i++) {
        const Candidate *one = most + i;
        double ends[6], least = LEAST_SHARE * whole;
        if ((i >= counts[0] && i < MAX_STRAIGHT) || one->most <= least) continue;
        for (int k = 0; k < 3; k++) {
            ends[k] = one->line.start_m[k];
            ends[3 + k] = one->line.start_m[k] + one->line.length_m * one->line.along[k];
        }
        double plants = pow(10.0, -plants_loss_db(bodies, work, ends, 2, &one->image) / 10.0);
        if (!(plants >= 0.0)) return -1;
        Mirrored way = {one->image.sheet, {one->power * plants, one->power * plants}, {one->at_m[0], one->at_m[1], one->at_m[2]}};
        Found powers;
        double worth_db = -10.0 * log10(larger(least, 1e-7) / one->scale);
        int some = line_powers(bodies, work, integrals, &one->line, wavelength_m, &one->image, &one->window, worth_db, &powers);
        if (some < 0) return -1;
        work->own.count = 0;
        if (some) {
            const Power *both = powers.powers;
            double through = pow(10.0, -powers.through_db / 10.0) * plants, straight[2];
            for (int field = 0; field < 2; field++) {
                straight[field] = smaller(both[field].straight, 1.0) * one->power * through;
                way.powers[field] = (both[field].over + both[field].left + both[field].right) * one->scale + straight[field];
            }
            double sides[3] = {both[0].over + both[1].over, both[0].left + both[1].left, both[0].right + both[1].right};
            for (int k = 0; k < work->through_count; k++)
                if (!add_passed(&work->own, bodies->obstacle[work->through[k]], 0.5 * (straight[0] + straight[1]))) return -1;
            for (int side = OVER; side < REFLECTED && !powers.clear; side++)
                if (!add_passes(bodies, work, side, 0.5 * sides[side] * one->scale, &work->own)) return -1;
        }
        double share = smooth(0.5 * (way.powers[0] + way.powers[1]) / larger(least, 1e-15) - 1.0);
        if (!(share > 0.0)) continue;
        for (int k = 0; k < work->own.count; k++)
            if (!add_passed(&work->passes, work->own.items[k].obstacle, share * work->own.items[k].power)) return -1;
        for (int field = 0; field < 2; field++) way.powers[field] *= share;
        whole += 0.5 * (way.powers[0] + way.powers[1]);
        int place = kept++;
        for (; place > 0; place--) {
            double before = found[place - 1].powers[0] + found[place - 1].powers[1], this = way.powers[0] + way.powers[1];
            if (before > this || (before == this && found[place - 1].sheet < way.sheet)) break;
            found[place] = found[place - 1];
        }
        found[place] = way;
    }
    return kept;
}
