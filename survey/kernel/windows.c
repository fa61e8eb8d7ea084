/* The integral of one string, see survey/propagation/around/windows.py. */

#include "around.h"
#include "exponential.h"

#define ROOM_POINTS (SPAN_NODES + 2 * NODES) /* of one station */
#define ROOT_HALF 0.70710678118654752440

/* Points of a contour that lie on one straight piece of it. */
typedef struct {
    int first, count;
    bool turned; /* by 45 degrees, from an offset, and `along` tells how far; else straight */
    double from_m;
} Piece;

typedef struct {
    double re[ROOM_POINTS], im[ROOM_POINTS], along[ROOM_POINTS], weight_re[ROOM_POINTS], weight_im[ROOM_POINTS];
    int count, piece_count;
    Piece pieces[4];
} Contour;

typedef struct {
    double re[ROOM_POINTS], im[ROOM_POINTS];
} Values;

static bool is_finite(double number) { return number > -INFINITY && number < INFINITY; }

double obliquity(double slant)
{
    double cosine = 1.0 / sqrt(1.0 + slant * slant), mean = 0.5 * (1.0 + cosine);
    return mean * mean;
}

static int image_count(double gap_m, double leg_m, double k)
{
    for (int images = MAX_IMAGES; images > 0; images--)
        if (2.0 * images * gap_m * gap_m * k / leg_m < MAX_PHASE) return images;
    return 0;
}

static void widths(const Station *stations, int count, const double *legs_m, double k, double *width)
{
    double total_m = 0.0, reached_m = 0.0;
    for (int i = 0; i <= count; i++) total_m += legs_m[i];
    for (int i = 0; i < count; i++) {
        reached_m += legs_m[i];
        width[i] = 1.0 / (sqrt(0.5 * k) * fabs(stations[i].turn) + sqrt(total_m / (reached_m * (total_m - reached_m))));
    }
    for (int i = 1; i < count; i++) width[i] = smaller(width[i], width[i - 1] + sqrt(legs_m[i]));
    for (int i = count - 1; i > 0; i--) width[i - 1] = smaller(width[i - 1], width[i] + sqrt(legs_m[i]));
}

static void spread(const Station *stations, int count, double length_m, double k, double *legs_m, double *width)
{
    double last_m = 0.0;
    for (int i = 0; i < count; i++) {
        legs_m[i] = larger(stations[i].at_m - last_m, 1e-3);
        last_m = stations[i].at_m;
    }
    legs_m[count] = larger(length_m - last_m, 1e-3);
    widths(stations, count, legs_m, k, width);
    for (int i = 1; i < count; i++) {
        double root = CLOSEST * smaller(width[i], width[i - 1]), least_m = root * root;
        double gap_m = stations[i].high_m - stations[i].low_m;
        if (is_finite(gap_m)) least_m = larger(least_m, k * gap_m * gap_m / (2.0 * MAX_PHASE));
        legs_m[i] = larger(legs_m[i], least_m);
    }
    widths(stations, count, legs_m, k, width);
}

static void add_ray(Contour *to, const Integrals *integrals, double from_m, double side, double size_m, double share)
{
    int at = to->count;
    Piece piece = {at, NODES, true, from_m};
    for (int n = 0; n < NODES; n++) {
        double along = side * size_m * integrals->points[n], weight = ROOT_HALF * size_m * integrals->weights[n] * share;
        to->along[at + n] = along;
        to->re[at + n] = from_m + ROOT_HALF * along;
        to->im[at + n] = -ROOT_HALF * along;
        to->weight_re[at + n] = weight;
        to->weight_im[at + n] = -weight;
    }
    to->count += NODES;
    to->pieces[to->piece_count++] = piece;
}

static void add_span(Contour *to, const Integrals *integrals, double low_m, double high_m, double share)
{
    int at = to->count;
    Piece piece = {at, SPAN_NODES, false, 0.0};
    for (int n = 0; n < SPAN_NODES; n++) {
        to->re[at + n] = low_m + (high_m - low_m) * integrals->span_points[n];
        to->im[at + n] = 0.0;
        to->weight_re[at + n] = (high_m - low_m) * integrals->span_weights[n] * share;
        to->weight_im[at + n] = 0.0;
    }
    to->count += SPAN_NODES;
    to->pieces[to->piece_count++] = piece;
}

/* How far the contour of each half line is straight: up to where a neighbour is closed, or turns. */
static void straight_up_to(const Station *stations, int count, const double *legs_m, double k, double *far)
{
    for (int i = 0; i < count; i++)
        far[i] = is_finite(stations[i].low_m) ? stations[i].low_m : is_finite(stations[i].high_m) ? stations[i].high_m : 0.0;
    for (int round = 0; round < count; round++) {
        bool changed = false;
        for (int i = 0; i < count; i++) {
            const Station *one = stations + i;
            if (is_finite(one->low_m) == is_finite(one->high_m)) continue;
            bool upward = is_finite(one->low_m);
            double edge_m = upward ? one->low_m : one->high_m;
            for (int j = i - 1; j <= i + 1; j += 2) {
                if (j < 0 || j >= count) continue;
                const Station *other = stations + j;
                double leg_m = j < i ? legs_m[i] : legs_m[i + 1], limit_m = upward ? other->high_m : other->low_m;
                bool same = is_finite(other->low_m) == upward && is_finite(other->high_m) != upward;
                if (!is_finite(limit_m)) {
                    if (!same || far[j] == (upward ? other->low_m : other->high_m)) continue;
                    limit_m = far[j];
                }
                double beyond_m = upward ? limit_m - far[i] : far[i] - limit_m, whole_m = fabs(limit_m - edge_m);
                if (beyond_m > 0.0 && 0.25 * k * whole_m * whole_m / leg_m > STRAIGHT_GROWTH) {
                    far[i] = limit_m;
                    changed = true;
                }
            }
        }
        if (!changed) break;
    }
}

static void contour(const Integrals *integrals, const Station *stations, int i, const double *legs_m, double width, bool in_duct,
                    double far_m, double k, Contour *to)
{
    const Station *one = stations + i;
    double size_m = width / sqrt(k);
    bool closed_left = is_finite(one->high_m), closed_right = is_finite(one->low_m);
    to->count = to->piece_count = 0;
    if (closed_left && closed_right) {
        double gap_m = one->high_m - one->low_m, growth = 0.25 * k * gap_m * gap_m / smaller(legs_m[i], legs_m[i + 1]);
        if (in_duct || growth > MAX_GROWTH || fabs(one->turn) * k * gap_m < 1.0) {
            add_span(to, integrals, one->low_m, one->high_m, 1.0);
        } else {
            double side = one->turn > 0.0 ? -1.0 : 1.0;
            add_ray(to, integrals, one->low_m, side, size_m, side);
            add_ray(to, integrals, one->high_m, side, size_m, -side);
        }
        return;
    }
    if (!closed_left && !closed_right) {
        add_ray(to, integrals, 0.0, 1.0, size_m, 1.0);
        add_ray(to, integrals, 0.0, -1.0, size_m, 1.0);
        return;
    }
    double side = closed_right ? 1.0 : -1.0, edge_m = closed_right ? one->low_m : one->high_m;
    if (far_m != edge_m) add_span(to, integrals, smaller(edge_m, far_m), larger(edge_m, far_m), 1.0);
    add_ray(to, integrals, far_m, side, size_m, 1.0);
}

/* What passes an opening: its turn, the first leg's curvature, and the images of the ends in the faces at its edge. */
static WIDE bool passing(const Station *one, const Contour *at, double first_leg_m, double k, Values *hard, Values *soft)
{
    double image_re[ROOM_POINTS], image_im[ROOM_POINTS];
    for (int n = 0; n < at->count; n++) {
        double x = at->re[n], y = at->im[n], re = -k * one->turn * y, im = k * one->turn * x;
        if (first_leg_m > 0.0) {
            re += k * x * y / first_leg_m;
            im -= 0.5 * k * (x * x - y * y) / first_leg_m;
        }
        double size = exp_of(re), cosine, sine;
        turn_of(im, &cosine, &sine);
        cosine *= size;
        sine *= size;
        hard->re[n] = at->weight_re[n] * cosine - at->weight_im[n] * sine;
        hard->im[n] = at->weight_re[n] * sine + at->weight_im[n] * cosine;
    }
    if (!(one->image[0] > 0.0 || one->image[1] > 0.0)) return true;
    for (int n = 0; n < at->count; n++) image_re[n] = image_im[n] = 0.0;
    for (int right = 0; right < 2; right++) {
        if (!(one->image[right] > 0.0)) continue;
        double edge_m = right ? one->low_m : one->high_m, sign = right ? 1.0 : -1.0, per_m = sign * k * one->image_turn[right];
        for (int n = 0; n < at->count; n++) {
            double size = one->image[right] * exp_of(per_m * at->im[n]), cosine, sine;
            turn_of(-per_m * (at->re[n] - edge_m), &cosine, &sine);
            image_re[n] += size * cosine;
            image_im[n] += size * sine;
        }
    }
    for (int n = 0; n < at->count; n++) {
        double re = image_re[n], im = image_im[n], own_re = hard->re[n], own_im = hard->im[n];
        soft->re[n] = own_re * (1.0 - re) + own_im * im;
        soft->im[n] = own_im * (1.0 - re) - own_re * im;
        hard->re[n] = own_re * (1.0 + re) - own_im * im;
        hard->im[n] = own_im * (1.0 + re) + own_re * im;
    }
    return false;
}

/* Sums of products are added up in LANES parts, which the compiler works out together; all counts are multiples of that. */
#define LANES 4

static inline complex_t sum_of(const double *value_re, const double *value_im, const double *re, const double *im, int count)
{
    double part_re[LANES] = {0.0}, part_im[LANES] = {0.0};
    for (int n = 0; n < count; n += LANES) {
        for (int i = 0; i < LANES; i++) {
            part_re[i] += value_re[n + i] * re[n + i] - value_im[n + i] * im[n + i];
            part_im[i] += value_re[n + i] * im[n + i] + value_im[n + i] * re[n + i];
        }
    }
    complex_t sum = {(part_re[0] + part_re[1]) + (part_re[2] + part_re[3]), (part_im[0] + part_im[1]) + (part_im[2] + part_im[3])};
    return sum;
}

static inline complex_t real_sum_of(const double *value_re, const double *value_im, const double *factor)
{
    double part_re[LANES] = {0.0}, part_im[LANES] = {0.0};
    for (int n = 0; n < NODES; n += LANES) {
        for (int i = 0; i < LANES; i++) {
            part_re[i] += value_re[n + i] * factor[n + i];
            part_im[i] += value_im[n + i] * factor[n + i];
        }
    }
    complex_t sum = {(part_re[0] + part_re[1]) + (part_re[2] + part_re[3]), (part_im[0] + part_im[1]) + (part_im[2] + part_im[3])};
    return sum;
}

static void add_to(Values *values, int at, complex_t sum)
{
    values->re[at] += sum.re;
    values->im[at] += sum.im;
}

/* What a leg adds from one contour to the next; `up` gathers what comes up to each of its points. */
typedef struct {
    const Contour *before, *at;
    const Values *hard, *soft;
    const Station *last, *one;
    const Face *face;
    bool duct, same;
    double leg_m, k;
    Values *up_hard, *up_soft;
} Leg;

/* Any two pieces of which one is turned: complex exponentials from each point to each. */
static WIDE void carry_any(const Leg *leg, const Piece *from, const Piece *to)
{
    double per_m = leg->k / leg->leg_m, faces[2] = {leg->face->right, leg->face->left};
    double lines[2][2] = {{leg->last->low_m, leg->one->low_m}, {leg->last->high_m, leg->one->high_m}};
    int first = from->first, count = from->count;
    const double *u = leg->before->re + first, *w = leg->before->im + first;
    double re[ROOM_POINTS], im[ROOM_POINTS], image_re[ROOM_POINTS], image_im[ROOM_POINTS];
    for (int m = to->first; m < to->first + to->count; m++) {
        double x = leg->at->re[m], y = leg->at->im[m];
        for (int n = 0; n < count; n++) {
            double a = u[n] - x, b = w[n] - y, size = exp_of(per_m * a * b), cosine, sine;
            turn_of(-0.5 * per_m * (a * a - b * b), &cosine, &sine);
            re[n] = size * cosine;
            im[n] = size * sine;
            image_re[n] = image_im[n] = 0.0;
        }
        for (int side = 0; side < 2; side++) {
            if (!(faces[side] > 0.0)) continue;
            double line_x = x - lines[side][1], from_m = lines[side][0];
            for (int n = 0; n < count; n++) {
                double a = u[n] - x, b = w[n] - y, c = u[n] - from_m, d = w[n], cosine, sine;
                double rise = 2.0 * per_m * (c * y + d * line_x); /* what would rise belongs to points behind the face */
                double size = rise < 1.0 ? faces[side] * exp_of(per_m * a * b + rise) : 0.0;
                turn_of(-0.5 * per_m * (a * a - b * b + 4.0 * (c * line_x - d * y)), &cosine, &sine);
                image_re[n] += size * cosine;
                image_im[n] += size * sine;
            }
        }
        complex_t direct = sum_of(leg->hard->re + first, leg->hard->im + first, re, im, count);
        if (leg->same) {
            add_to(leg->up_hard, m, direct);
            continue;
        }
        complex_t image = sum_of(leg->hard->re + first, leg->hard->im + first, image_re, image_im, count);
        direct.re += image.re;
        direct.im += image.im;
        add_to(leg->up_hard, m, direct);
        direct = sum_of(leg->soft->re + first, leg->soft->im + first, re, im, count);
        image = sum_of(leg->soft->re + first, leg->soft->im + first, image_re, image_im, count);
        direct.re -= image.re;
        direct.im -= image.im;
        add_to(leg->up_soft, m, direct);
    }
}

/* Two pieces turned by 45 degrees, u = e + T a and v = f + T b: the exponential of (u - v)^2 falls apart into a real one of
   (a - b)^2 and one of each of a, b and e - f; that of an image in a face through both edges into a real one of (a + b)^2.
   False where the parts would be too large, or where a face runs elsewhere. */
static WIDE bool carry_turned(const Leg *leg, const Piece *from, const Piece *to)
{
    double image = 0.0, per_m = leg->k / leg->leg_m, between_m = from->from_m - to->from_m, slant = ROOT_HALF * per_m * between_m;
    if (leg->face->right > 0.0) {
        if (from->from_m != leg->last->low_m || to->from_m != leg->one->low_m) return false;
        image += leg->face->right;
    }
    if (leg->face->left > 0.0) {
        if (from->from_m != leg->last->high_m || to->from_m != leg->one->high_m) return false;
        image += leg->face->left;
    }
    const double *along = leg->before->along + from->first, *hard_re = leg->hard->re + from->first, *hard_im = leg->hard->im + from->first;
    const double *soft_re = leg->soft->re + from->first, *soft_im = leg->soft->im + from->first;
    double parts[4][NODES];
    if (slant != 0.0) {
        if (fabs(slant) * larger(fabs(along[NODES - 1]), fabs(leg->at->along[to->first + NODES - 1])) > 300.0) return false;
        for (int n = 0; n < NODES; n++) {
            double size = exp_of(-slant * along[n]), cosine, sine;
            turn_of(-slant * along[n], &cosine, &sine);
            cosine *= size;
            sine *= size;
            parts[0][n] = hard_re[n] * cosine - hard_im[n] * sine;
            parts[1][n] = hard_re[n] * sine + hard_im[n] * cosine;
            if (leg->same) continue;
            parts[2][n] = soft_re[n] * cosine - soft_im[n] * sine;
            parts[3][n] = soft_re[n] * sine + soft_im[n] * cosine;
        }
        hard_re = parts[0];
        hard_im = parts[1];
        soft_re = parts[2];
        soft_im = parts[3];
    }
    for (int m = 0; m < NODES; m++) {
        double b = leg->at->along[to->first + m], direct[NODES], mirrored[NODES];
        complex_t hard = {0.0, 0.0}, soft = {0.0, 0.0};
        for (int n = 0; n < NODES; n++) direct[n] = exp_of(-0.5 * per_m * (along[n] - b) * (along[n] - b));
        if (image > 0.0)
            for (int n = 0; n < NODES; n++) {
                double size = image * exp_of(-0.5 * per_m * (along[n] + b) * (along[n] + b));
                mirrored[n] = -2.0 * per_m * along[n] * b < 1.0 ? size : 0.0; /* see carry_any */
            }
        if (image > 0.0)
            for (int n = 0; n < NODES; n++) direct[n] += mirrored[n];
        hard = real_sum_of(hard_re, hard_im, direct);
        if (image > 0.0)
            for (int n = 0; n < NODES; n++) direct[n] -= 2.0 * mirrored[n];
        if (!leg->same) soft = real_sum_of(soft_re, soft_im, direct);
        if (slant != 0.0) {
            double size = exp_of(slant * b), cosine, sine, one = hard.re, two = soft.re;
            turn_of(slant * b - 0.5 * per_m * between_m * between_m, &cosine, &sine);
            cosine *= size;
            sine *= size;
            hard.re = one * cosine - hard.im * sine;
            hard.im = one * sine + hard.im * cosine;
            soft.re = two * cosine - soft.im * sine;
            soft.im = two * sine + soft.im * cosine;
        }
        add_to(leg->up_hard, to->first + m, hard);
        if (!leg->same) add_to(leg->up_soft, to->first + m, soft);
    }
    return true;
}

#define HALF_SPAN (SPAN_NODES / 2)

/* The points of a straight piece lie alike to both sides of its middle, so that what is worked out for one does for the other too. */
static double middle_of(const Contour *contour, const Piece *piece)
{
    return 0.5 * (contour->re[piece->first] + contour->re[piece->first + SPAN_NODES - 1]);
}

static void add_turned(Values *values, int at, double re, double im, double power, double phase)
{
    double size = exp_of(power), cosine, sine;
    turn_of(phase, &cosine, &sine);
    values->re[at] += size * (re * cosine - im * sine);
    values->im[at] += size * (re * sine + im * cosine);
}

static inline double sum_lanes(const double *lanes) { return (lanes[0] + lanes[1]) + (lanes[2] + lanes[3]); }

/* A wave from x to y, or one of its images: weight exp(-jk (x^2 + y^2 + 2 sigma x y + px x + py y + c) / 2d); odd ones change sign in
   soft fields. */
typedef struct {
    double sigma, px, py, c, weight;
    bool odd;
} Term;

#define MAX_TERMS (4 * MAX_IMAGES + 3)

/* The wave itself and its images in the faces of a leg; gives how many. */
static int terms_of(const Leg *leg, Term *terms)
{
    const Face *face = leg->face;
    Term direct = {-1.0, 0.0, 0.0, 0.0, 1.0, false};
    int count = 0;
    terms[count++] = direct;
    if (!leg->duct) {
        double lines[2][3] = {{face->right, leg->last->low_m, leg->one->low_m}, {face->left, leg->last->high_m, leg->one->high_m}};
        for (int side = 0; side < 2; side++) {
            if (!(lines[side][0] > 0.0)) continue;
            double l = lines[side][1], m = lines[side][2];
            Term image = {1.0, -4.0 * m, -4.0 * l, 4.0 * l * m, lines[side][0], true};
            terms[count++] = image;
        }
        return count;
    }
    double l = leg->last->low_m, m = leg->one->low_m, h = leg->last->high_m, g = leg->one->high_m, gap_m = 0.5 * (h - l + g - m);
    double reflection = sqrt(face->left * face->right);
    int images = image_count(gap_m, leg->leg_m, leg->k);
    for (int n = -images; n <= images; n++) {
        double step = 2.0 * n * gap_m;
        Term even = {-1.0, 2.0 * step, -2.0 * step, step * step - step * (l + h - m - g), pow(reflection, 2 * abs(n)) * obliquity(step / leg->leg_m), false};
        if (n != 0) terms[count++] = even;
    }
    for (int n = 0; n <= images; n++) {
        double step = 2.0 * n * gap_m, weight = pow(reflection, 2 * n + 1) * obliquity((step + gap_m) / leg->leg_m);
        Term right = {1.0, 2.0 * step - 4.0 * m, 2.0 * step - 4.0 * l, 4.0 * l * m - 2.0 * step * (l + m) + step * step, weight, true};
        Term left = {1.0, -2.0 * step - 4.0 * g, -2.0 * step - 4.0 * h, 4.0 * h * g + 2.0 * step * (h + g) + step * step, weight, true};
        terms[count++] = right;
        terms[count++] = left;
    }
    return count;
}

/* Two straight pieces, x = mu + p and y = mv + q: only exp(jk p q / d) belongs to both, and to all images. */
static WIDE void carry_straight(const Leg *leg, const Piece *from, const Piece *to)
{
    double mu = middle_of(leg->before, from), mv = middle_of(leg->at, to), per_m = leg->k / leg->leg_m;
    const double *u = leg->before->re + from->first, *v = leg->at->re + to->first;
    double cosines[HALF_SPAN][HALF_SPAN], sines[HALF_SPAN][HALF_SPAN];
    Term terms[MAX_TERMS];
    int count = terms_of(leg, terms);
    for (int j = 0; j < HALF_SPAN; j++)
        for (int i = 0; i < HALF_SPAN; i++) turn_of(per_m * (u[i] - mu) * (v[j] - mv), cosines[j] + i, sines[j] + i);
    for (int number = 0; number < count; number++) {
        const Term *term = terms + number;
        double turn_re[SPAN_NODES], turn_im[SPAN_NODES], to_re[SPAN_NODES], to_im[SPAN_NODES];
        for (int n = 0; n < SPAN_NODES; n++) {
            double x = u[n], y = v[n];
            turn_of(-0.5 * per_m * (x * x + term->px * x + 2.0 * term->sigma * mv * (x - mu)), turn_re + n, turn_im + n);
            turn_of(-0.5 * per_m * (y * y + term->py * y + 2.0 * term->sigma * mu * y + term->c), to_re + n, to_im + n);
        }
        for (int kind = 0; kind < (leg->same ? 1 : 2); kind++) {
            const Values *values = kind ? leg->soft : leg->hard;
            Values *up = kind ? leg->up_soft : leg->up_hard;
            double weight = kind && term->odd ? -term->weight : term->weight;
            double re[SPAN_NODES], im[SPAN_NODES], sum_re[HALF_SPAN], sum_im[HALF_SPAN], less_re[HALF_SPAN], less_im[HALF_SPAN];
            for (int n = 0; n < SPAN_NODES; n++) {
                double one = weight * values->re[from->first + n], two = weight * values->im[from->first + n];
                re[n] = one * turn_re[n] - two * turn_im[n];
                im[n] = one * turn_im[n] + two * turn_re[n];
            }
            for (int i = 0; i < HALF_SPAN; i++) {
                sum_re[i] = re[i] + re[SPAN_NODES - 1 - i];
                sum_im[i] = im[i] + im[SPAN_NODES - 1 - i];
                less_re[i] = -term->sigma * (re[i] - re[SPAN_NODES - 1 - i]);
                less_im[i] = -term->sigma * (im[i] - im[SPAN_NODES - 1 - i]);
            }
            for (int j = 0; j < HALF_SPAN; j++) {
                double c_re[LANES] = {0.0}, c_im[LANES] = {0.0}, d_re[LANES] = {0.0}, d_im[LANES] = {0.0};
                for (int i = 0; i < HALF_SPAN; i += LANES) {
                    for (int l = 0; l < LANES; l++) {
                        c_re[l] += sum_re[i + l] * cosines[j][i + l];
                        c_im[l] += sum_im[i + l] * cosines[j][i + l];
                        d_re[l] += less_re[i + l] * sines[j][i + l];
                        d_im[l] += less_im[i + l] * sines[j][i + l];
                    }
                }
                double cr = sum_lanes(c_re), ci = sum_lanes(c_im), dr = sum_lanes(d_re), di = sum_lanes(d_im);
                int one = to->first + j, other = SPAN_NODES - 1 - j;
                up->re[one] += (cr - di) * to_re[j] - (ci + dr) * to_im[j];
                up->im[one] += (cr - di) * to_im[j] + (ci + dr) * to_re[j];
                up->re[to->first + other] += (cr + di) * to_re[other] - (ci - dr) * to_im[other];
                up->im[to->first + other] += (cr + di) * to_im[other] + (ci - dr) * to_re[other];
            }
        }
    }
}

/* From a straight piece, x = mu + p, to one turned by 45 degrees, v = f + T b: only exp(jk p T b / d) belongs to both. False where the
   parts would be too large. */
static WIDE bool carry_to_turned(const Leg *leg, const Piece *from, const Piece *to)
{
    double mu = middle_of(leg->before, from), per_m = leg->k / leg->leg_m, apart_m = mu - to->from_m, slant = ROOT_HALF * per_m;
    const double *u = leg->before->re + from->first, *b = leg->at->along + to->first;
    if (slant * fabs(b[NODES - 1]) * larger(fabs(u[0] - mu), fabs(apart_m)) > 300.0) return false;
    for (int kind = 0; kind < (leg->same ? 1 : 2); kind++) {
        const Values *values = kind ? leg->soft : leg->hard;
        Values *up = kind ? leg->up_soft : leg->up_hard;
        double re[SPAN_NODES], im[SPAN_NODES];
        for (int n = 0; n < SPAN_NODES; n++) {
            double p = u[n] - mu, cosine, sine, one = values->re[from->first + n], two = values->im[from->first + n];
            turn_of(-0.5 * per_m * (p * p + 2.0 * apart_m * p), &cosine, &sine);
            re[n] = one * cosine - two * sine;
            im[n] = one * sine + two * cosine;
        }
        for (int m = 0; m < NODES; m++) {
            double cosines[HALF_SPAN], sines[HALF_SPAN], rises[HALF_SPAN], falls[HALF_SPAN], sum_re[LANES] = {0.0}, sum_im[LANES] = {0.0};
            for (int i = 0; i < HALF_SPAN; i++) {
                double power = slant * (u[i] - mu) * b[m];
                rises[i] = exp_of(power);
                falls[i] = 1.0 / rises[i];
                turn_of(power, cosines + i, sines + i);
            }
            for (int i = 0; i < HALF_SPAN; i += LANES) {
                for (int l = 0; l < LANES; l++) {
                    int one = i + l, other = SPAN_NODES - 1 - i - l;
                    double a_re = re[one] * rises[one], a_im = im[one] * rises[one], b_re = re[other] * falls[one], b_im = im[other] * falls[one];
                    sum_re[l] += (a_re + b_re) * cosines[one] - (a_im - b_im) * sines[one];
                    sum_im[l] += (a_im + b_im) * cosines[one] + (a_re - b_re) * sines[one];
                }
            }
            double power = slant * apart_m * b[m];
            add_turned(up, to->first + m, sum_lanes(sum_re), sum_lanes(sum_im), power - 0.5 * per_m * b[m] * b[m],
                       power - 0.5 * per_m * apart_m * apart_m);
        }
    }
    return true;
}

/* The same from a piece that is turned, u = e + T a, to a straight one, y = mv + q. */
static WIDE bool carry_from_turned(const Leg *leg, const Piece *from, const Piece *to)
{
    double mv = middle_of(leg->at, to), per_m = leg->k / leg->leg_m, apart_m = from->from_m - mv, slant = ROOT_HALF * per_m;
    const double *a = leg->before->along + from->first, *v = leg->at->re + to->first;
    if (slant * fabs(a[NODES - 1]) * larger(fabs(v[0] - mv), fabs(apart_m)) > 300.0) return false;
    for (int kind = 0; kind < (leg->same ? 1 : 2); kind++) {
        const Values *values = kind ? leg->soft : leg->hard;
        Values *up = kind ? leg->up_soft : leg->up_hard;
        double re[NODES], im[NODES];
        for (int n = 0; n < NODES; n++) {
            double power = -slant * apart_m * a[n], cosine, sine, one = values->re[from->first + n], two = values->im[from->first + n];
            double size = exp_of(power - 0.5 * per_m * a[n] * a[n]);
            turn_of(power, &cosine, &sine);
            re[n] = size * (one * cosine - two * sine);
            im[n] = size * (one * sine + two * cosine);
        }
        for (int j = 0; j < HALF_SPAN; j++) {
            double q = v[j] - mv, cosines[NODES], sines[NODES], rises[NODES], falls[NODES];
            double one_re[LANES] = {0.0}, one_im[LANES] = {0.0}, two_re[LANES] = {0.0}, two_im[LANES] = {0.0};
            for (int n = 0; n < NODES; n++) {
                double power = slant * q * a[n];
                rises[n] = exp_of(power);
                falls[n] = 1.0 / rises[n];
                turn_of(power, cosines + n, sines + n);
            }
            for (int n = 0; n < NODES; n += LANES) {
                for (int l = 0; l < LANES; l++) {
                    double c_re = re[n + l] * cosines[n + l], c_im = im[n + l] * cosines[n + l];
                    double s_re = re[n + l] * sines[n + l], s_im = im[n + l] * sines[n + l];
                    one_re[l] += rises[n + l] * (c_re - s_im);
                    one_im[l] += rises[n + l] * (c_im + s_re);
                    two_re[l] += falls[n + l] * (c_re + s_im);
                    two_im[l] += falls[n + l] * (c_im - s_re);
                }
            }
            double square = q * q + apart_m * apart_m;
            add_turned(up, to->first + j, sum_lanes(one_re), sum_lanes(one_im), 0.0, -0.5 * per_m * (square - 2.0 * apart_m * q));
            add_turned(up, to->first + SPAN_NODES - 1 - j, sum_lanes(two_re), sum_lanes(two_im), 0.0,
                       -0.5 * per_m * (square + 2.0 * apart_m * q));
        }
    }
    return true;
}

/* From any piece to any other. */
static void carry_piece(const Leg *leg, const Piece *from, const Piece *to)
{
    bool has_face = leg->face->left > 0.0 || leg->face->right > 0.0;
    if (from->turned && to->turned) {
        if (carry_turned(leg, from, to)) return;
    } else if (!from->turned && !to->turned) {
        carry_straight(leg, from, to);
        return;
    } else if (!has_face) {
        if (from->turned ? carry_from_turned(leg, from, to) : carry_to_turned(leg, from, to)) return;
    }
    carry_any(leg, from, to);
}

static void multiply(Values *values, const Values *by, int count)
{
    for (int n = 0; n < count; n++) {
        double re = values->re[n] * by->re[n] - values->im[n] * by->im[n];
        values->im[n] = values->re[n] * by->im[n] + values->im[n] * by->re[n];
        values->re[n] = re;
    }
}

/* From the points of one contour over a leg to those of the next, whose own values are given and are multiplied by what comes. */
static void carry(Leg *leg, Values *own_hard, Values *own_soft)
{
    Values up_hard, up_soft;
    int count = leg->at->count;
    memset(up_hard.re, 0, (size_t)count * sizeof(double));
    memset(up_hard.im, 0, (size_t)count * sizeof(double));
    memset(up_soft.re, 0, (size_t)count * sizeof(double));
    memset(up_soft.im, 0, (size_t)count * sizeof(double));
    leg->up_hard = &up_hard;
    leg->up_soft = &up_soft;
    for (int q = 0; q < leg->at->piece_count; q++) {
        for (int p = 0; p < leg->before->piece_count; p++) {
            const Piece *from = leg->before->pieces + p, *to = leg->at->pieces + q;
            carry_piece(leg, from, to);
        }
    }
    multiply(own_hard, &up_hard, count);
    if (!leg->same) multiply(own_soft, &up_soft, count);
}

static WIDE complex_t at_the_end(const Contour *before, const Values *values, double leg_m, double k)
{
    double re[ROOM_POINTS], im[ROOM_POINTS];
    for (int n = 0; n < before->count; n++) {
        double x = before->re[n], y = before->im[n], size = exp_of(k * x * y / leg_m), cosine, sine;
        turn_of(-0.5 * k * (x * x - y * y) / leg_m, &cosine, &sine);
        re[n] = size * cosine;
        im[n] = size * sine;
    }
    return sum_of(values->re, values->im, re, im, before->count);
}

static void worked_out(const Integrals *integrals, const Station *stations, const Face *faces, int count, double length_m, double wavelength_m,
           complex_t *hard, complex_t *soft)
{
    double k = 2.0 * PI / wavelength_m, legs_m[ROOM_STATIONS + 1], width[ROOM_STATIONS], far[ROOM_STATIONS], total_m = 0.0, product = 1.0, gain = 1.0;
    bool duct[ROOM_STATIONS], same = true;
    Contour contours[2];
    Values values_hard[2], values_soft[2];
    spread(stations, count, length_m, k, legs_m, width);
    straight_up_to(stations, count, legs_m, k, far);
    for (int i = 0; i <= count; i++) total_m += legs_m[i];
    for (int i = 0; i < count - 1; i++)
        duct[i] = faces[i].left > 0.0 && faces[i].right > 0.0 && is_finite(stations[i].high_m - stations[i].low_m) &&
                  is_finite(stations[i + 1].high_m - stations[i + 1].low_m);
    for (int i = 0; i < count; i++) {
        int here = i & 1, last = 1 - here;
        bool in_duct = (i > 0 && duct[i - 1]) || (i < count - 1 && duct[i]);
        contour(integrals, stations, i, legs_m, width[i], in_duct, far[i], k, contours + here);
        gain *= stations[i].gain;
        bool own_same = passing(stations + i, contours + here, i == 0 ? legs_m[0] : 0.0, k, values_hard + here, values_soft + here);
        bool stays = own_same && same && (i == 0 || !(duct[i - 1] || faces[i - 1].left > 0.0 || faces[i - 1].right > 0.0));
        if (!stays) { /* from here on the two differ */
            if (own_same) values_soft[here] = values_hard[here];
            if (same && i > 0) values_soft[last] = values_hard[last];
            same = false;
        }
        if (i == 0) continue;
        Leg leg = {contours + last,    contours + here, values_hard + last, values_soft + last, stations + i - 1, stations + i,
                   faces + (i - 1), duct[i - 1],     same,               legs_m[i],          k,                NULL,         NULL};
        carry(&leg, values_hard + here, values_soft + here);
    }
    int last = (count - 1) & 1;
    complex_t sum_hard = at_the_end(contours + last, values_hard + last, legs_m[count], k);
    complex_t sum_soft = same ? sum_hard : at_the_end(contours + last, values_soft + last, legs_m[count], k);
    for (int i = 0; i <= count; i++) product *= legs_m[i] * wavelength_m;
    double scale = sqrt(total_m * wavelength_m / product) * gain, cosine = cos(0.25 * PI * count), sine = sin(0.25 * PI * count);
    hard->re = scale * (sum_hard.re * cosine - sum_hard.im * sine);
    hard->im = scale * (sum_hard.re * sine + sum_hard.im * cosine);
    soft->re = scale * (sum_soft.re * cosine - sum_soft.im * sine);
    soft->im = scale * (sum_soft.re * sine + sum_soft.im * cosine);
}

void field(Integrals *integrals, const Station *stations, const Face *faces, int count, double length_m, double wavelength_m,
           complex_t *hard, complex_t *soft)
{
    hard->re = soft->re = 1.0;
    hard->im = soft->im = 0.0;
    if (count == 0) return;
    size_t station_size = (size_t)count * sizeof *stations, face_size = (size_t)(count - 1) * sizeof *faces;
    for (int i = 0; i < integrals->known_count; i++) {
        const Known *known = integrals->known + i;
        if (known->count != count || known->length_m != length_m || known->wavelength_m != wavelength_m || memcmp(known->stations, stations, station_size) ||
            (count > 1 && memcmp(known->faces, faces, face_size)))
            continue;
        *hard = known->hard;
        *soft = known->soft;
        return;
    }
    worked_out(integrals, stations, faces, count, length_m, wavelength_m, hard, soft);
    Known *known = integrals->known + (integrals->known_count < MAX_KNOWN ? integrals->known_count++ : integrals->oldest++ % MAX_KNOWN);
    memcpy(known->stations, stations, station_size);
    if (count > 1) memcpy(known->faces, faces, face_size);
    known->count = count;
    known->length_m = length_m;
    known->wavelength_m = wavelength_m;
    known->hard = *hard;
    known->soft = *soft;
}
