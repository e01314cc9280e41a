#include "server/ingest/reception.hpp"

#include <algorithm>
#include <cstdlib>
#include <limits>
#include <utility>

#include <boost/asio/post.hpp>
#include <fmt/format.h>
#include <spdlog/spdlog.h>

#include "server/ingest/capture_link.hpp"
#include "shared/time.hpp"

namespace turnstone {

namespace {

/// A capture read at full speed pauses while this much waits for the disk or for the pipeline: nothing of it has to be
/// read back from the recording.
constexpr std::size_t kBacklogBytesMax = 4u << 20;
static_assert(kBacklogBytesMax < InputQueue::kKeptBytesMax);
constexpr std::size_t kCarriedBytes = 256u << 10; // in one piece
constexpr std::int64_t kUtcStep_ns = kNsPerMs;

} // namespace

Reception::Reception(std::shared_ptr<const PipelineSetup> setup, std::shared_ptr<const Schema> schema,
                     std::vector<LinkUri> uris, Recorder& recorder, InputQueue& queue,
                     std::function<std::int64_t()> needs_since_ns)
    : setup_(std::move(setup)), schema_(std::move(schema)), recorder_(recorder), queue_(queue),
      needs_since_ns_(std::move(needs_since_ns)) {
    for (const LinkSetup& link : setup_->links) {
        LinkView view;
        view.name = link.name;
        slots_.push_back({std::move(view), nullptr});
    }
    for (std::size_t i = 0; i < uris.size(); ++i) {
        const Dictionary& dictionary = setup_->vehicles[setup_->links[i].vehicle].dictionary;
        slots_[i].link = make_link(context_, uris[i], with_capture_time(uris[i], dictionary, handler(i)));
    }
    publish_views();
}

Reception::~Reception() {
    stop();
}

LinkHandler Reception::handler(std::size_t i) {
    return {[this, i](std::int64_t t_rx_ns, std::int64_t, std::span<const std::byte> bytes) {
                received(i, t_rx_ns, bytes);
            },
            [this, i](std::int64_t t_ns, LinkState state, const std::string& detail) {
                slots_[i].view.state = state;
                slots_[i].view.detail = detail;
                report(slots_[i], t_ns);
            },
            [this] { return may_read(); },
            {},
            [this, i](std::int64_t t_ns, const RelayedTimes& times) {
                act(t_ns, Relayed{.link = slots_[i].view.name,
                                  .clock = fmt::format("{:016x}", times.clock),
                                  .sent_ns = times.sent_ns,
                                  .heard_before_s = times.heard_before_s});
            }};
}

void Reception::received(std::size_t i, std::int64_t t_rx_ns, std::span<const std::byte> bytes) {
    slots_[i].view.bytes += bytes.size();
    slots_[i].view.t_last_ns = t_rx_ns;
    Inputs inputs;
    counter_->chunk(static_cast<LinkId>(i), t_rx_ns, utc_of(t_rx_ns), bytes, inputs);
    recording_bytes_ += bytes.size();
    recent_.add(hand_over(std::move(inputs), t_rx_ns));
}

/// System UTC at a station time. The difference is read once a tick, so that it does not change with every reading of
/// two clocks.
std::int64_t Reception::utc_of(std::int64_t t_ns) const {
    return t_ns + utc_minus_station_ns_;
}

void Reception::report(const Slot& slot, std::int64_t t_ns) {
    act(t_ns, LinkReport{slot.view.name, slot.view.state, slot.view.detail});
}

void Reception::act(std::int64_t t_ns, const Action& action, OwedReceipt receipt) {
    Inputs inputs;
    counter_->action(t_ns, action, inputs);
    hand_over(std::move(inputs), t_ns, std::move(receipt));
}

/// What came while a new recording was asked for: the pipeline of the one before has already said what is to be carried
/// over, and would have been the only one to know.
void Reception::take_held() {
    for (; !held_.empty(); held_.pop_front())
        act(station_now_ns(), held_.front().action, std::move(held_.front().receipt));
}

/// To the recorder first.
std::shared_ptr<const Inputs> Reception::hand_over(Inputs inputs, std::int64_t t_ns, OwedReceipt receipt) {
    auto shared = std::make_shared<const Inputs>(std::move(inputs));
    recorder_.push(shared, std::move(receipt));
    queue_.put(shared, t_ns);
    return shared;
}

LiveTape Reception::tape_of(const RecordingHead& head) const {
    LiveTape tape;
    tape.id = recording_id_;
    tape.name = head.name;
    tape.t_start_ns = head.t_start_ns;
    tape.utc_start_ns = head.utc_start_ns;
    tape.schema = schema_;
    tape.setup = setup_;
    return tape;
}

/// Begins with the inputs that its estimates need, then with what is so now.
void Reception::begin(const std::string& name, const std::string& continues, const Past& past, OwedReceipt receipt) {
    const bool first = recording_id_.empty();
    const std::int64_t now_ns = station_now_ns();
    std::int64_t t_start_ns = now_ns;
    recent_.since(past.needs_since_ns, [&](const ChunkRecord& chunk, std::span<const std::byte>) {
        t_start_ns = std::min(t_start_ns, chunk.t_rx_ns);
    });
    counter_ = std::make_unique<InputCounter>(slots_.size(), t_start_ns);
    const RecordingHead head{
        .t_start_ns = t_start_ns, .utc_start_ns = utc_of(t_start_ns), .name = name, .continues = continues};
    recording_id_ = recorder_.begin(*schema_, head, utc_now_ns(), std::move(receipt));
    spdlog::info("Recording {}", recording_id_);
    queue_.put(TapeBegins{.tape = tape_of(head)}, now_ns);
    Inputs carried;
    const std::uint64_t bytes_before = std::exchange(recording_bytes_, 0);
    recent_.since(past.needs_since_ns, [&](const ChunkRecord& chunk, std::span<const std::byte> bytes) {
        counter_->chunk(chunk.link, chunk.t_rx_ns, chunk.utc_rx_ns, bytes, carried, true);
        recording_bytes_ += bytes.size();
        if (carried.bytes.size() >= kCarriedBytes) hand_over(std::exchange(carried, {}), now_ns);
    });
    if (!carried.empty()) hand_over(std::move(carried), now_ns);
    if (!continues.empty() && recording_bytes_ < bytes_before) recorder_.count_lost(bytes_before - recording_bytes_);
    backlog_.forget();
    trouble_ = RecorderTrouble::none;
    for (const Action& action : past.actions) act(now_ns, action);
    if (!first)
        for (const Slot& slot : slots_) report(slot, now_ns);
}

void Reception::resume(const Resumable& resumable) {
    counter_ = std::make_unique<InputCounter>(resumable.stream_bytes, resumable.t_last_ns, resumable.inputs);
    recording_id_ = resumable.id;
    recorder_.resume(*schema_, resumable.id, resumable.claim);
    spdlog::info("Recording continues in {}", recording_id_);
    const std::int64_t now_ns = station_now_ns();
    catching_up_ = true;
    queue_.put(TapeBegins{.tape = tape_of(resumable.head),
                          .stored_inputs = resumable.inputs,
                          .give_back =
                              [this](std::optional<RecentInputs> earlier) {
                                  boost::asio::post(context_, [this, given = std::move(earlier)] {
                                      catching_up_ = false;
                                      if (given)
                                          recent_.put_before(*given);
                                      else
                                          ask_for_past("", recording_id_);
                                  });
                              }},
               now_ns);
    act(now_ns, Resumed{resumable.t_last_ns});
}

/// The interpreter answers when it has come to everything received so far.
void Reception::ask_for_past(const std::string& name, const std::string& continues, OwedReceipt receipt) {
    ++asked_for_;
    // What the queue holds is copyable, a receipt is not.
    const auto owed = std::make_shared<OwedReceipt>(std::move(receipt));
    queue_.put(AskForPast{[this, name, continues, owed](Past past) {
                   boost::asio::post(context_, [this, name, continues, owed, known = std::move(past)] {
                       replacing_lost_ = false;
                       begin(name, continues, known, std::move(*owed));
                       if (--asked_for_ == 0) take_held();
                   });
               }},
               station_now_ns());
}

bool Reception::may_read() const {
    return recorder_.status().queue_bytes < kBacklogBytesMax &&
           queue_.backlog(station_now_ns()).kept_bytes < kBacklogBytesMax;
}

void Reception::wait_for_tick() {
    // At whole multiples, where the pipeline's ticks are.
    const std::int64_t now_ns = station_now_ns();
    timer_.expires_after(std::chrono::nanoseconds(kTickNs - now_ns % kTickNs));
    timer_.async_wait([this](const boost::system::error_code& error) {
        // Cancelling does not reach a handler that is already queued.
        if (error || finished_) return;
        tick();
        wait_for_tick();
    });
}

void Reception::tick() {
    const std::int64_t now_ns = station_now_ns();
    const std::int64_t offset_ns = utc_now_ns() - now_ns;
    if (std::abs(offset_ns - utc_minus_station_ns_) > kUtcStep_ns) utc_minus_station_ns_ = offset_ns;
    queue_.put(TimePassed{now_ns}, now_ns);
    const double behind_s = catching_up_ ? 0.0 : queue_.backlog(now_ns).behind_s;
    if (const auto backlog = backlog_.look(behind_s, now_ns)) {
        if (backlog->behind_s > 0)
            spdlog::warn("Estimates are {:.1f} s behind the links", backlog->behind_s);
        else
            spdlog::info("Estimates keep up with the links");
        act(now_ns, *backlog);
    }
    watch_recorder(now_ns);
    recent_.forget_before(needs_since_ns_());
    publish_views();
}

/// Everyone sees what is wrong with the recorder, and it goes into the recording once that can be written again.
void Reception::watch_recorder(std::int64_t now_ns) {
    const RecorderStatus status = recorder_.status();
    if (status.lost && status.recording_id == recording_id_ && !replacing_lost_) {
        replacing_lost_ = true;
        ask_for_past("", status.recording_id);
    }
    // The sentence may hold figures that change every second; only what kind of trouble it is counts.
    if (status.trouble == trouble_) return;
    trouble_ = status.trouble;
    if (status.fault.empty())
        spdlog::info("Recording works");
    else
        spdlog::error("Recording: {}", status.fault);
    act(now_ns,
        RecorderReport{status.fault, trouble_ == RecorderTrouble::fault || trouble_ == RecorderTrouble::bytes_lost});
}

void Reception::publish_views() {
    const std::lock_guard lock(mutex_);
    published_.clear();
    for (const Slot& slot : slots_) published_.push_back(slot.view);
}

void Reception::start(const std::vector<Action>& actions, const std::optional<Resumable>& resumable) {
    utc_minus_station_ns_ = utc_now_ns() - station_now_ns();
    if (resumable)
        resume(*resumable);
    else
        begin("", "", {.needs_since_ns = std::numeric_limits<std::int64_t>::max(), .actions = actions});
    thread_ = std::thread([this] {
        wait_for_tick();
        for (Slot& slot : slots_) slot.link->start();
        context_.run();
    });
}

void Reception::stop() {
    if (!thread_.joinable()) return;
    boost::asio::post(context_, [this] {
        for (Slot& slot : slots_) slot.link->stop();
        finished_ = true;
        timer_.cancel();
        take_held(); // the new recording does not begin any more
        const std::int64_t now_ns = station_now_ns();
        queue_.put(TimePassed{now_ns}, now_ns);
        publish_views();
        work_.reset();
    });
    thread_.join();
}

void Reception::action(Action action, OwedReceipt receipt) {
    boost::asio::post(
        context_,
        [this, asked = Asked{std::move(action), std::move(receipt)}]() mutable {
            if (asked_for_ > 0)
                held_.push_back(std::move(asked));
            else
                act(station_now_ns(), asked.action, std::move(asked.receipt));
        });
}

void Reception::new_recording(std::string name, OwedReceipt receipt) {
    boost::asio::post(
        context_, [this, text = std::move(name),
                   owed = std::move(receipt)]() mutable { ask_for_past(text, "", std::move(owed)); });
}

void Reception::set_meta(std::string key, std::string value, OwedReceipt receipt) {
    boost::asio::post(
        context_, [this, name = std::move(key), text = std::move(value),
                   owed = std::move(receipt)]() mutable { recorder_.set_meta(name, text, std::move(owed)); });
}

std::vector<LinkView> Reception::links() const {
    const std::lock_guard lock(mutex_);
    return published_;
}

} // namespace turnstone
