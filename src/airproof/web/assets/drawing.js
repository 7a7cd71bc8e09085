// Traces on a page. What draws them is a library that is fetched and set up once, by the page or by the first of them.
import { toRaw } from "vue";

export default {
  template: "<div></div>",
  props: { figure: Object, library: String },
  async mounted() {
    await import(this.library);
    await this.draw();
    this.$el.on("plotly_relayout", (event) => this.$emit("looked", event));
    this.fitting = new ResizeObserver(() => Plotly.Plots.resize(this.$el));
    this.fitting.observe(this.$el);
  },
  unmounted() {
    this.fitting?.disconnect();
  },
  watch: {
    figure() {
      if (this.fitting) this.draw();
    },
  },
  methods: {
    draw() {
      const { data, layout, config } = toRaw(this.figure); // as it came: the page need not watch over every point
      return Plotly.react(this.$el, data, layout, config);
    },
  },
};
