#include "server/serve/stream/replay.hpp"

#include <algorithm>
#include <exception>
#include <utility>

#include <boost/asio/post.hpp>
#include <nlohmann/json.hpp>

#include "server/serve/encode/tape_time.hpp"

namespace turnstone {
namespace {

constexpr std::chrono::milliseconds kTick{50};
constexpr unsigned kTicksPerPosition = 2; // 10 position texts a second
constexpr std::size_t kWaitingMax = 64;
constexpr double kStallMax_s = 0.25; // after a stall the cursor goes on from where it was

} // namespace

Replay::Replay(const ReplaySource& source, const std::shared_ptr<Viewer>& viewer, Lease place)
    : source_(source), viewer_(viewer), client_(viewer->client()), place_(std::move(place)), timer_(source.context),
      pause_(source.context) {}

void Replay::request(ClientMessage message) {
    const bool is_seek = std::holds_alternative<SeekReplay>(message.what);
    if (is_seek && !waiting_.empty() && std::holds_alternative<SeekReplay>(waiting_.back().what)) {
        waiting_.back() = std::move(message);
        return;
    }
    if (waiting_.size() >= kWaitingMax) {
        complain("too many requests are waiting; send the next one after an answer", message.request);
        return;
    }
    waiting_.push_back(std::move(message));
    next();
}

void Replay::stop() {
    stopped_ = true;
    playing_ = false;
    waiting_.clear();
    timer_.cancel();
    pause_.cancel();
}

std::shared_ptr<Viewer> Replay::viewer() const {
    auto viewer = viewer_.lock();
    return stopped_ || !viewer || viewer->closing() ? nullptr : viewer;
}

void Replay::next() {
    while (!busy_ && !waiting_.empty()) {
        const auto receiver = viewer();
        if (receiver && receiver->queued_bytes() > source_.queue_bytes_max) {
            wait_for_reader();
            return;
        }
        const ClientMessage message = std::move(waiting_.front());
        waiting_.pop_front();
        run(message);
    }
}

void Replay::wait_for_reader() {
    pause_.expires_after(kTick);
    pause_.async_wait([weak = weak_from_this()](const boost::system::error_code& error) {
        if (const auto self = weak.lock(); !error && self) self->next();
    });
}

void Replay::run(const ClientMessage& message) {
    if (const auto* opening = std::get_if<OpenReplay>(&message.what))
        open(opening->recording, message.request);
    else if (!opened_)
        complain("no recording is open; send 'open' with a recording's id", message.request);
    else if (const auto* seeking = std::get_if<SeekReplay>(&message.what))
        seek(seeking->t_s, message.request);
    else if (const auto* stepping = std::get_if<StepReplay>(&message.what))
        step(*stepping, message.request);
    else if (const auto* starting = std::get_if<PlayReplay>(&message.what))
        play(starting->rate, message.request);
    else
        pause(message.request);
}

void Replay::open(const std::string& id, Request request) {
    playing_ = false;
    opened_ = false;
    const auto place = source_.live.find(id);
    if (!place) {
        complain(place.error().message, request);
        return;
    }
    opened_place_ = *place;
    damage_told_.clear();
    const auto receiver = viewer();
    const HelloParts parts{.is_operator = receiver && source_.is_operator(receiver->client()),
                           .replay = true,
                           .server_id = source_.server_id};
    read(
        Lane::stored,
        [parts, live = place->live](RecordingReader& reader) { return read_opening(reader, parts, live); }, request,
        [this, request](const ReplayRead& opening) {
            opened_ = true;
            times_ = opening.times;
            seq_ = 0;
            tell(request, opening.latest);
        });
}

void Replay::seek(double t_s, Request request) {
    ReplayTimes target = times_;
    const double end_s = tape_seconds(times_.t_end_ns, times_.t_start_ns);
    target.cursor_ns = std::min(times_.t_end_ns, tape_ns(std::clamp(t_s, 0.0, end_s), times_.t_start_ns));
    read(
        Lane::stored, [target](RecordingReader& reader) { return read_cursor(reader, target); }, request,
        [this, request](const ReplayRead& there) {
            times_.cursor_ns = there.times.cursor_ns;
            played_at_ = Clock::now();
            tell(request, there.latest);
        });
}

void Replay::step(const StepReplay& step, Request request) {
    playing_ = false;
    read(
        Lane::slow, [times = times_, step](RecordingReader& reader) { return read_step(reader, times, step); }, request,
        [this, request](const ReplayRead& there) {
            times_.cursor_ns = there.times.cursor_ns;
            tell(request, there.latest);
        });
}

void Replay::play(double rate, Request request) {
    rate_ = rate;
    if (!playing_) {
        playing_ = true;
        played_at_ = Clock::now();
        wait_for_tick();
    }
    tell(request, {});
}

void Replay::pause(Request request) {
    playing_ = false;
    tell(request, {});
}

void Replay::wait_for_tick() {
    timer_.expires_after(kTick);
    timer_.async_wait([weak = weak_from_this()](const boost::system::error_code& error) {
        const auto self = weak.lock();
        if (error || !self || !self->playing_ || !self->viewer()) return;
        self->wait_for_tick();
        self->play_on();
    });
}

void Replay::play_on() {
    const auto receiver = viewer();
    const auto now = Clock::now();
    // A viewer that cannot keep up sees its own tape play slower; nothing is left out.
    if (busy_ || !receiver || receiver->queued_bytes() > source_.queue_bytes_max) {
        if (!busy_) played_at_ = now;
        return;
    }
    const double elapsed_s = std::min(std::chrono::duration<double>(now - played_at_).count(), kStallMax_s);
    played_at_ = now;
    const std::int64_t target_ns = std::min(times_.t_end_ns, tape_ns(elapsed_s * rate_, times_.cursor_ns));
    read(
        Lane::stored,
        [times = times_, target_ns, seq = seq_](RecordingReader& reader) {
            return read_on(reader, times, target_ns, seq);
        },
        std::nullopt,
        [this](const ReplayRead& played) {
            times_ = played.times;
            seq_ += played.blocks;
            const bool ended = times_.cursor_ns >= times_.t_end_ns;
            if (ended) playing_ = false;
            if (ended || ++ticks_ % kTicksPerPosition == 0) tell(std::nullopt, {});
        });
}

void Replay::read(Lane lane, Work work, Request request, Then then) {
    busy_ = true;
    auto come_back = [self = shared_from_this(), request, then = std::move(then)](ReplayRead read) {
        boost::asio::post(
            self->source_.context,
            [self, request, then, read = std::move(read)] { self->finish(read, request, then); });
    };
    auto job = [&folder = source_.recordings, place = opened_place_, work = std::move(work),
                come_back](ReaderCache& cache) {
        ReplayRead read;
        try {
            if (const auto path = path_of(folder, place); !path) {
                read.error = path.error().message;
            } else if (auto reader = cache.get(*path)) {
                read = work(**reader);
                read.damage = (*reader)->damage();
            } else {
                read.error = reader.error().message;
            }
        } catch (const std::exception& failure) {
            read.error = failure.what();
        }
        come_back(std::move(read));
    };
    if (const auto taken = source_.workers.submit(lane, client_, std::move(job)); !taken) {
        ReplayRead busy;
        busy.error = taken.error().message;
        come_back(std::move(busy));
    }
}

void Replay::finish(const ReplayRead& read, Request request, const Then& then) {
    busy_ = false;
    const auto receiver = viewer();
    if (!receiver) return;
    if (!read.damage.empty() && read.damage != damage_told_) {
        damage_told_ = read.damage;
        complain("the recording is damaged (" + read.damage + "); what can be read is shown", std::nullopt);
    }
    if (read.error.empty()) {
        for (const WireMessage& message : read.messages) receiver->send(message);
        then(read);
    } else {
        complain(read.error, request);
        if (std::exchange(playing_, false)) tell(std::nullopt, {});
    }
    next();
}

void Replay::tell(Request request, const std::string& latest) {
    const auto receiver = viewer();
    if (!receiver) return;
    const ReplayPosition position{.cursor_s = tape_seconds(times_.cursor_ns, times_.t_start_ns),
                                  .playing = playing_,
                                  .rate = rate_,
                                  .t_end_s = tape_seconds(times_.t_end_ns, times_.t_start_ns)};
    const nlohmann::json rows = latest.empty() ? nlohmann::json() : nlohmann::json::parse(latest);
    receiver->send(frame_message(Opcode::text, replay_text(position, request, latest.empty() ? nullptr : &rows)));
}

void Replay::complain(std::string_view message, Request request) {
    if (const auto receiver = viewer()) receiver->send(frame_message(Opcode::text, error_text(message, request)));
}

} // namespace turnstone
